"""Collecting the files that pages load, once for each change of them."""

import hashlib
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command

#: Beside the collected files: what they were collected from.
STAMP = ".collected-from"


def is_collected() -> bool:
    """Whether what was collected last is what the installed packages hold now."""
    stamp = Path(settings.STATIC_ROOT) / STAMP
    return stamp.is_file() and stamp.read_text(encoding="ascii") == _print_of_sources()


def collect() -> None:
    """Copy all files into STATIC_ROOT, under hashed names and compressed."""
    stamp = Path(settings.STATIC_ROOT) / STAMP
    # A collection that is broken off is made anew.
    stamp.unlink(missing_ok=True)
    found = _print_of_sources()
    call_command("collectstatic", interactive=False, verbosity=0)
    stamp.write_text(found, encoding="ascii")


def _print_of_sources() -> str:
    """A digest of where each file is, how long it is, and when it was changed."""
    digest = hashlib.sha256()
    for finder in get_finders():
        for name, storage in sorted(finder.list([]), key=lambda found: str(found[0])):
            file = Path(storage.path(name))
            told = file.stat()
            digest.update(f"{file}\0{told.st_size}\0{told.st_mtime_ns}\n".encode())
    return digest.hexdigest()
