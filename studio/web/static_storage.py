"""Files that pages load: under hashed names, compressed, once they were collected."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class HashedWhenCollected(CompressedManifestStaticFilesStorage):  # type: ignore[misc]
    """Hashed names where `collectstatic` ran (`serve` does it), plain names until then.

    So a fresh installation shows pages without any build step, and one that is served lets
    browsers keep each file for good.
    """

    # A source map that a library names and does not ship is no reason to stop.
    manifest_strict = False

    def stored_name(self, name: str) -> str:
        """The hashed name, or the plain one of a file that was not collected."""
        cleaned = self.clean_name(name)
        found: str = self.hashed_files.get(self.hash_key(cleaned), cleaned)
        return found
