"""System checks: what would go wrong later is said at the start, with what to do about it.

`manage.py check` runs them, and so does every command. `serve` and `demo` run those about the
machine alone: what only a change of the code can break needs every page loaded.
"""

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from babel import Locale, UnknownLocaleError
from babel.numbers import get_currency_name, get_currency_precision, is_currency
from django.conf import settings
from django.core.checks import CheckMessage, Error, Warning, register
from django.db import connections

#: The smallest unit that money is kept in is a ten-thousandth of the currency.
MOST_PLACES = 4
#: What the studio's environment can get wrong.
MACHINE = "machine"


@register(MACHINE)
def check_currency(app_configs: Sequence[Any] | None, **_: Any) -> list[CheckMessage]:
    """The studio's currency exists and its smallest coin can be kept."""
    code = settings.STUDIO_CURRENCY
    if not is_currency(code):
        return [
            Error(
                f"STUDIO_CURRENCY is '{code}', which is no currency.",
                hint="Give its ISO 4217 code in capitals, such as USD, EUR or GBP.",
                id="studio.E001",
            )
        ]
    if get_currency_precision(code) > MOST_PLACES:
        return [
            Error(
                f"{get_currency_name(code)} is divided finer than a ten-thousandth.",
                hint="Money is kept in ten-thousandths: choose another STUDIO_CURRENCY.",
                id="studio.E002",
            )
        ]
    return []


@register(MACHINE)
def check_locale(app_configs: Sequence[Any] | None, **_: Any) -> list[CheckMessage]:
    """The way numbers and money are written is known."""
    try:
        Locale.parse(settings.STUDIO_LOCALE)
    except (ValueError, UnknownLocaleError):
        return [
            Error(
                f"STUDIO_LOCALE is '{settings.STUDIO_LOCALE}', which is not known.",
                hint="Give a language and a land, such as en_US, en_GB or de_DE.",
                id="studio.E003",
            )
        ]
    return []


@register(MACHINE)
def check_folder(app_configs: Sequence[Any] | None, **_: Any) -> list[CheckMessage]:
    """The studio's folder can be written, and its key is read by its owner alone."""
    folder, found = Path(settings.VAR_DIR), list[CheckMessage]()
    if not os.access(folder, os.W_OK | os.X_OK):
        found.append(
            Error(
                f"The folder {folder} cannot be written.",
                hint="Give this user the right to write there, or set STUDIO_VAR to another.",
                id="studio.E004",
            )
        )
    key = folder / "secret_key"
    if key.exists() and key.stat().st_mode & 0o077:
        found.append(
            Warning(
                f"Others on this machine can read {key}.",
                hint=f"Run: chmod 600 {key}",
                id="studio.W001",
            )
        )
    return found


@register(MACHINE)
def check_database(app_configs: Sequence[Any] | None, **_: Any) -> list[CheckMessage]:
    """A SQLite database takes its write lock at BEGIN, as the books need."""
    default = connections.settings["default"]
    options = default.get("OPTIONS", {})
    if default["ENGINE"].endswith("sqlite3") and options.get("transaction_mode") != "IMMEDIATE":
        return [
            Error(
                "SQLite transactions do not take the write lock at their beginning.",
                hint='Set "transaction_mode" to "IMMEDIATE" in the OPTIONS of the database.',
                id="studio.E005",
            )
        ]
    return []


@register(MACHINE)
def check_mail(app_configs: Sequence[Any] | None, **_: Any) -> list[CheckMessage]:
    """Mail that is really sent has someone to go to."""
    if settings.EMAIL_BACKEND.endswith("smtp.EmailBackend") and not settings.STUDIO_MAIL_TO:
        return [
            Warning(
                "Mail is sent by SMTP, but nobody gets the low-stock alerts.",
                hint="Set STUDIO_MAIL_TO to one or more addresses between commas.",
                id="studio.W002",
            )
        ]
    return []


@register(MACHINE, deploy=True)
def check_https(app_configs: Sequence[Any] | None, **_: Any) -> list[CheckMessage]:
    """Sign-ins cross a network encrypted."""
    hosts = set(settings.ALLOWED_HOSTS) - {"localhost", "127.0.0.1", "[::1]"}
    if hosts and not settings.STUDIO_HTTPS:
        return [
            Warning(
                f"The studio is reached as {', '.join(sorted(hosts))} without HTTPS.",
                hint="Put it behind a proxy that ends HTTPS, and set STUDIO_HTTPS=yes.",
                id="studio.W003",
            )
        ]
    return []


@register(deploy=True)
def check_units(app_configs: Sequence[Any] | None, **_: Any) -> list[CheckMessage]:
    """The factors of the units are those of the installed pint."""
    from studio.foundation.units.by_pint import differing  # noqa: PLC0415 - builds pint's registry

    return [
        Error(
            f"The installed pint has another factor for {unit.symbol} than the studio.",
            hint="Install pint anew; if it stays so, tell those who write the studio.",
            id="studio.E006",
        )
        for unit in differing()
    ]
