"""The studio's own settings on a folder that lives as long as the test run.

What the person who runs the tests has in the environment must not reach them: a DATABASE_URL
there may name the studio's real books.
"""

import os
import tempfile

from tests.memory import IN_MEMORY

FOLDER = tempfile.TemporaryDirectory(
    prefix="studio-tests-", dir=IN_MEMORY, ignore_cleanup_errors=True
)

for name in list(os.environ):
    if name.startswith(("STUDIO_", "EMAIL_", "CELERY_")) or name in {"DATABASE_URL", "SECRET_KEY"}:
        del os.environ[name]
# Whatever the tests start would compile the studio anew, which is a third of the time it takes.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
os.environ["STUDIO_VAR"] = FOLDER.name
os.environ["STUDIO_LOG_LEVEL"] = "WARNING"
# The PostgreSQL wheel keeps a lock file here; one shared by all users may belong to another.
os.environ["XDG_RUNTIME_DIR"] = FOLDER.name

from studio.settings import *  # noqa: E402, F403
from studio.settings import ALLOWED_HOSTS, MIDDLEWARE  # noqa: E402

ALLOWED_HOSTS = [*ALLOWED_HOSTS, "testserver"]
# Each request of a test is looked through for rows that do not name who sent it.
MIDDLEWARE = [*MIDDLEWARE, "tests.names_doers.NobodyUnnamed"]
# Slow on purpose in production; the tests sign in hundreds of times.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
# Each client of a test would read hundreds of files anew that almost none asks for.
WHITENOISE_AUTOREFRESH = True
# The other storage looks every file up in a manifest that only `collectstatic` writes.
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
