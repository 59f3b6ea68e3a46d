"""Each check finds what it is for, says what to do, and is quiet otherwise."""

import pytest
from django.conf import settings
from django.core.checks import run_checks
from django.core.checks.registry import registry
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.db import connections

from studio.foundation.units import by_pint
from studio.management.commands import demo, serve
from studio.settings import EMAIL_BACKENDS


def found():
    """What our own checks find; the others take seconds, to read every address and describe it."""
    checks = registry.get_checks(include_deployment_checks=True)
    ours = [check for check in checks if check.__module__.startswith("studio.")]
    assert len(ours) > 5
    return {message.id: message for check in ours for message in check(app_configs=None)}


def test_a_plain_studio_has_nothing_to_say(settings):
    settings.ALLOWED_HOSTS = ["localhost"]
    assert found() == {}
    all_found = run_checks(include_deployment_checks=True)
    assert not [message for message in all_found if message.id.startswith("studio.")]
    call_command("check", "--fail-level", "WARNING")


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("STUDIO_CURRENCY", "usd", "studio.E001"),
        ("STUDIO_CURRENCY", "COWRIES", "studio.E001"),
        ("STUDIO_LOCALE", "", "studio.E003"),
        ("STUDIO_LOCALE", "xx_QQ", "studio.E003"),
        ("STUDIO_LOCALE", "english please", "studio.E003"),
        ("VAR_DIR", "/nowhere/at/all", "studio.E004"),
        ("EMAIL_BACKEND", EMAIL_BACKENDS["smtp"], "studio.W002"),
        ("ALLOWED_HOSTS", ["soap.example"], "studio.W003"),
    ],
)
def test_a_wrong_setting_is_found_with_its_remedy(settings, name, value, expected):
    settings.ALLOWED_HOSTS = ["localhost"]
    setattr(settings, name, value)
    assert set(found()) == {expected}
    assert found()[expected].hint


def test_a_key_that_others_can_read_is_found(settings, tmp_path):
    settings.ALLOWED_HOSTS, settings.VAR_DIR = ["localhost"], tmp_path
    key = tmp_path / "secret_key"
    key.touch(mode=0o600)
    assert found() == {}
    key.chmod(0o644)
    assert found()["studio.W001"].hint == f"Run: chmod 600 {key}"


def test_sqlite_without_its_write_lock_is_found(monkeypatch):
    monkeypatch.setitem(connections.settings["default"], "OPTIONS", {})
    assert "studio.E005" in found()


def test_mail_to_someone_is_fine(settings):
    settings.EMAIL_BACKEND, settings.STUDIO_MAIL_TO = EMAIL_BACKENDS["smtp"], ["me@soap.example"]
    assert "studio.W002" not in found()


def test_the_studio_under_test_writes_nowhere_else():
    assert str(settings.VAR_DIR).startswith(str(settings.DATABASES["default"]["NAME"].parent))


def test_a_factor_that_pint_does_not_confirm_is_named(settings, monkeypatch):
    settings.ALLOWED_HOSTS = ["localhost"]
    monkeypatch.setattr(by_pint, "PINT_NAMES", {**by_pint.PINT_NAMES, "oz": "troy_ounce"})
    assert "factor for oz than" in found()["studio.E006"].msg


@pytest.mark.parametrize("command", [serve.Command, demo.Command])
def test_what_is_served_still_checks_what_its_environment_can_get_wrong(settings, command):
    settings.STUDIO_CURRENCY = "COWRIES"
    with pytest.raises(SystemCheckError, match="E001"):
        command().check(tags=command.requires_system_checks)
