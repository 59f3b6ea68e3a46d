"""The one reader of environment variables.

Every setting that a studio may change comes through here, typed, with its default. A value that
cannot be read stops the start with the name, the value, and what would be right: a studio that
quietly runs on a default it did not ask for is worse than one that does not start.
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from django.core.exceptions import ImproperlyConfigured

TRUE = frozenset({"1", "true", "yes", "on"})
FALSE = frozenset({"0", "false", "no", "off"})


class EnvironmentFault(ImproperlyConfigured):
    """An environment variable that cannot be read; says its name and what is right."""

    def __init__(self, name: str, value: str, right: str) -> None:
        self.name = name
        super().__init__(f"{name} is set to '{value}': give {right}.")


@dataclass(frozen=True, slots=True)
class Environment:
    """Reads typed values; a variable that is unset or empty means its default."""

    variables: Mapping[str, str] = field(default_factory=lambda: os.environ)

    def text(self, name: str, default: str = "") -> str:
        """The text without the blanks around it."""
        return self.variables.get(name, "").strip() or default

    def choice(self, name: str, default: str, allowed: frozenset[str]) -> str:
        """One of the allowed words."""
        value = self.text(name, default)
        if value not in allowed:
            raise EnvironmentFault(name, value, "one of " + ", ".join(sorted(allowed)))
        return value

    def flag(self, name: str, default: bool) -> bool:
        """Yes or no."""
        value = self.text(name).lower()
        if not value:
            return default
        if value not in TRUE | FALSE:
            raise EnvironmentFault(name, value, "yes or no (1, true, on; 0, false, off)")
        return value in TRUE

    def whole(self, name: str, default: int, *, least: int, most: int) -> int:
        """A whole number between `least` and `most`, both included."""
        value = self.text(name)
        if not value:
            return default
        right = f"a whole number from {least} to {most}, such as {default}"
        # isdecimal alone would let other scripts' digits through.
        if not (value.isascii() and value.isdecimal() and len(value) <= len(str(most))):
            raise EnvironmentFault(name, value, right)
        if not least <= int(value) <= most:
            raise EnvironmentFault(name, value, right)
        return int(value)

    def path(self, name: str, default: Path) -> Path:
        """An absolute path; a relative one is taken from the folder the program started in."""
        value = self.text(name)
        if "\0" in value:
            raise EnvironmentFault(name, value.replace("\0", "?"), "a path without NUL")
        return Path(value).expanduser().absolute() if value else default

    def words(self, name: str, default: tuple[str, ...]) -> list[str]:
        """Words between commas."""
        found = [word.strip() for word in self.text(name).split(",")]
        return [word for word in found if word] or list(default)

    def url(self, name: str, default: str, schemes: frozenset[str]) -> str:
        """A URL with one of the schemes. A wrong one is not repeated: it may hold a password."""
        value = self.text(name, default)
        try:
            scheme = urlsplit(value).scheme
        except ValueError:
            scheme = ""
        if value and scheme not in schemes:
            kinds = ", ".join(f"{known}://" for known in sorted(schemes))
            raise EnvironmentFault(name, f"{scheme or '?'}:...", f"a URL that starts with {kinds}")
        return value
