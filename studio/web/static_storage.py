"""Files that pages load: under hashed names, compressed, once they were collected."""

import hashlib
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command
from whitenoise.compress import Compressor
from whitenoise.storage import CompressedManifestStaticFilesStorage

#: Beside the collected files: what they were collected from.
STAMP = ".collected-from"
#: A second page of the API's description, which the studio does not show, has large files.
UNUSED = ["redoc"]
#: Source maps are for who looks into a library; compressing them takes longer than all the rest.
LEFT_AS_THEY_ARE = (*Compressor.SKIP_COMPRESS_EXTENSIONS, "map")


class HashedWhenCollected(CompressedManifestStaticFilesStorage):  # type: ignore[misc]
    """Hashed names where `collectstatic` ran (`serve` does it), plain names until then.

    So a fresh installation shows pages without any build step, and one that is served lets
    browsers keep each file for good.
    """

    # A source map that a library names and does not ship is no reason to stop.
    manifest_strict = False
    # Nothing asks for a plain name once it is collected.
    keep_only_hashed_files = True

    def create_compressor(self, **options: Any) -> Compressor:
        return Compressor(**{**options, "extensions": LEFT_AS_THEY_ARE})

    def stored_name(self, name: str) -> str:
        """The hashed name, or the plain one of a file that was not collected."""
        cleaned = self.clean_name(name)
        found: str = self.hashed_files.get(self.hash_key(cleaned), cleaned)
        return found


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
    call_command("collectstatic", interactive=False, verbosity=0, ignore_patterns=[*UNUSED])
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
