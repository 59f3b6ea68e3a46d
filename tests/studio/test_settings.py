"""The settings as a fresh process reads them: safe when unset, loud when wrong."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SHOW = """
import json
from studio import settings
names = {names!r}
print(json.dumps({{name: getattr(settings, name) for name in names}}, default=str))
"""


def start(folder, *names, **variables):
    """What a new process with only these variables says of the settings."""
    kept = {name: os.environ[name] for name in ("PATH", "HOME") if name in os.environ}
    return subprocess.run(
        [sys.executable, "-c", SHOW.format(names=names)],
        cwd=ROOT,
        env={**kept, "STUDIO_VAR": str(folder), **variables},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


def shown(folder, *names, **variables):
    done = start(folder, *names, **variables)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_nothing_set_is_safe_and_stays_in_its_folder(tmp_path):
    found = shown(
        tmp_path / "var",
        *("DEBUG", "ALLOWED_HOSTS", "SECRET_KEY", "DATABASES", "EMAIL_BACKEND", "TIME_ZONE"),
        *("EMAIL_FILE_PATH", "CELERY_BROKER_URL", "CELERY_BROKER_TRANSPORT_OPTIONS"),
        "STUDIO_CURRENCY",
    )
    assert found["DEBUG"] is False
    assert found["ALLOWED_HOSTS"] == ["localhost", "127.0.0.1", "[::1]"]
    assert found["SECRET_KEY"] == (tmp_path / "var" / "secret_key").read_text().strip()
    assert found["CELERY_BROKER_URL"].startswith("filesystem://")
    assert found["EMAIL_BACKEND"].endswith("filebased.EmailBackend")
    assert (found["TIME_ZONE"], found["STUDIO_CURRENCY"]) == ("UTC", "USD")
    assert (tmp_path / "var").stat().st_mode & 0o077 == 0
    options = found["CELERY_BROKER_TRANSPORT_OPTIONS"]
    for place in (
        found["DATABASES"]["default"]["NAME"],
        found["EMAIL_FILE_PATH"],
        options["data_folder_in"],
        options["data_folder_out"],
        options["control_folder"],
    ):
        assert Path(place).is_relative_to(tmp_path / "var")


def test_each_start_has_the_same_key(tmp_path):
    assert shown(tmp_path, "SECRET_KEY") == shown(tmp_path, "SECRET_KEY")


def test_postgresql_and_redis_by_their_urls(tmp_path):
    found = shown(
        tmp_path,
        *("DATABASES", "CELERY_BROKER_TRANSPORT_OPTIONS", "CELERY_BEAT_SCHEDULE"),
        DATABASE_URL="postgresql://studio:secret@db/books",
        CELERY_BROKER_URL="redis://cache:6379/0",
        STUDIO_ALERT_SECONDS="60",
    )
    assert found["DATABASES"]["default"]["HOST"] == "db"
    assert "visibility_timeout" in found["CELERY_BROKER_TRANSPORT_OPTIONS"]
    entry = found["CELERY_BEAT_SCHEDULE"]["raise-alerts"]
    assert (entry["schedule"], entry["options"]["expires"]) == ("0:01:00", 60)
    assert not (tmp_path / "broker").exists()


def test_https_guards_cookies(tmp_path):
    found = shown(
        tmp_path, "SESSION_COOKIE_SECURE", "CSRF_COOKIE_SECURE", "DEBUG", STUDIO_HTTPS="yes"
    )
    assert found == {"SESSION_COOKIE_SECURE": True, "CSRF_COOKIE_SECURE": True, "DEBUG": False}


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("STUDIO_DEBUG", "perhaps"),
        ("STUDIO_ALERT_SECONDS", "often"),
        ("DATABASE_URL", "mysql://db/books"),
        ("CELERY_BROKER_URL", "sqs://"),
        ("STUDIO_MAIL", "pigeon"),
        ("EMAIL_PORT", "0"),
        ("STUDIO_LOG_LEVEL", "LOUD"),
        ("STUDIO_SECRET_KEY", "short"),
    ],
)
def test_a_wrong_value_stops_the_start_and_names_the_variable(tmp_path, name, value):
    done = start(tmp_path, "DEBUG", **{name: value})
    assert done.returncode != 0
    assert f"ImproperlyConfigured: {name}" in done.stderr or name in done.stderr.splitlines()[-1]
