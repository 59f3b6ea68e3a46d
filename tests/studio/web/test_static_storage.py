"""Files are collected when they are not yet, and again only when one has changed."""

import os

import pytest

from studio.web import static_storage


@pytest.fixture
def source(tmp_path, settings):
    """A style sheet among files of its own, and a place to collect it."""
    (tmp_path / "source").mkdir()
    (tmp_path / "collected").mkdir()
    file = tmp_path / "source" / "look.css"
    file.write_text("a { color: black }")
    settings.STATICFILES_FINDERS = ["django.contrib.staticfiles.finders.FileSystemFinder"]
    settings.STATICFILES_DIRS = [tmp_path / "source"]
    settings.STATIC_ROOT = tmp_path / "collected"
    return file


def test_what_is_collected_stays_so_until_a_file_changes_comes_or_goes(source):
    assert not static_storage.is_collected()
    static_storage.collect()
    assert static_storage.is_collected()
    source.write_text("a { color: white }")
    os.utime(source, ns=(1, 1))
    assert not static_storage.is_collected()
    static_storage.collect()
    assert static_storage.is_collected()
    another = source.with_name("another.css")
    another.write_text("")
    assert not static_storage.is_collected()
    another.unlink()
    assert static_storage.is_collected()


def test_what_was_broken_off_is_collected_anew(source, monkeypatch):
    static_storage.collect()

    def broken_off(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(static_storage, "call_command", broken_off)
    with pytest.raises(KeyboardInterrupt):
        static_storage.collect()
    assert not static_storage.is_collected()


def test_nothing_is_kept_of_a_folder_that_was_emptied(source, settings):
    static_storage.collect()
    for file in settings.STATIC_ROOT.iterdir():
        file.unlink()
    assert not static_storage.is_collected()


def test_hashed_names_alone_are_kept_and_maps_are_not_compressed(source, settings):
    kind = "studio.web.static_storage.HashedWhenCollected"
    settings.STORAGES = {**settings.STORAGES, "staticfiles": {"BACKEND": kind}}
    source.write_text("a { color: black }\n" * 100)
    source.with_name("look.css.map").write_text("x" * 2000)
    static_storage.collect()
    (map_there,) = settings.STATIC_ROOT.glob("*.map*")
    assert not (settings.STATIC_ROOT / "look.css").exists()
    kept = [file.name for file in settings.STATIC_ROOT.glob("look.*.css*")]
    assert sorted(kept) == sorted([name := min(kept, key=len), f"{name}.gz"])
    assert map_there.suffix == ".map"
