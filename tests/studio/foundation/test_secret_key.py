"""The secret key is made once, whole, and for its owner's eyes."""

import pytest
from django.core.exceptions import ImproperlyConfigured

from studio.foundation.secret_key import secret_key
from tests.threads import at_once


def test_is_made_once_and_read_by_its_owner_alone(tmp_path):
    file = tmp_path / "secret_key"
    first = secret_key("", file=file)
    assert len(first) >= 32
    assert secret_key("", file=file) == first
    assert file.stat().st_mode & 0o777 == 0o600
    assert [each.name for each in tmp_path.iterdir()] == ["secret_key"]


def test_all_that_start_at_once_get_the_same_key(tmp_path):
    file = tmp_path / "secret_key"
    assert len(set(at_once(lambda _: secret_key("", file=file), range(16)))) == 1
    assert [each.name for each in tmp_path.iterdir()] == ["secret_key"]


def test_two_studios_have_different_keys(tmp_path):
    assert secret_key("", file=tmp_path / "a") != secret_key("", file=tmp_path / "b")


def test_a_given_key_is_used_and_nothing_is_written(tmp_path):
    given = "k" * 40
    assert secret_key(given, file=tmp_path / "secret_key") == given
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("given", ["short", "x" * 31])
def test_a_short_key_is_refused_by_its_name(tmp_path, given):
    with pytest.raises(ImproperlyConfigured, match="STUDIO_SECRET_KEY is shorter than 32"):
        secret_key(given, file=tmp_path / "secret_key")


def test_a_file_cut_short_is_refused_by_its_path(tmp_path):
    file = tmp_path / "secret_key"
    file.write_text("abc\n")
    with pytest.raises(ImproperlyConfigured, match=str(file)):
        secret_key("", file=file)
