"""The secret key: generated on the first start, kept in a file that only its owner can read."""

import contextlib
import os
import tempfile
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured
from django.core.management.utils import get_random_secret_key

LEAST_LENGTH = 32


def secret_key(given: str, *, file: Path) -> str:
    """The key given by the environment, else the one in `file`, which is made when missing.

    Raises ImproperlyConfigured when the key is shorter than 32 characters.
    """
    key = given or _kept(file)
    if len(key) < LEAST_LENGTH:
        where = "STUDIO_SECRET_KEY" if given else str(file)
        raise ImproperlyConfigured(
            f"The secret key in {where} is shorter than {LEAST_LENGTH} characters: "
            "give a longer random one, or remove it and a new one is made."
        )
    return key


def _kept(file: Path) -> str:
    if not file.exists():
        _make(file)
    return file.read_text(encoding="ascii").strip()


def _make(file: Path) -> None:
    # Several processes may start at once. Each writes a whole file of its own (mkstemp makes it
    # with mode 0600); the link succeeds for exactly one of them and never shows half a key.
    handle, name = tempfile.mkstemp(dir=file.parent, prefix=".secret_key-")
    try:
        with os.fdopen(handle, "w", encoding="ascii") as draft:
            draft.write(get_random_secret_key() + "\n")
            draft.flush()
            os.fsync(draft.fileno())
        with contextlib.suppress(FileExistsError):
            os.link(name, file)
    finally:
        Path(name).unlink()
