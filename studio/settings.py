"""Django settings, read from the environment with safe defaults."""

import os
from pathlib import Path

BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = Path(os.environ.get("STUDIO_VAR", BASE_DIR / "var"))
VAR_DIR.mkdir(parents=True, exist_ok=True)
SECRET_KEY = "replaced-by-the-generated-key"  # noqa: S105
DEBUG = False
ALLOWED_HOSTS = ["localhost", "127.0.0.1", "testserver"]
INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "django_filters",
    "knox",
    "simple_history",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "studio",
    "inventory",
    "recipes",
    "costing",
]
ROOT_URLCONF = "studio.urls"
DATABASES = {"default": {"ENGINE": "django.db.backends.sqlite3", "NAME": VAR_DIR / "studio.sqlite3"}}
TIME_ZONE = "UTC"
USE_TZ = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
STATIC_URL = "/static/"
