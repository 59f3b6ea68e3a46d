"""Django's settings, read from the environment with safe defaults.

Each setting that a studio may change is an environment variable, read by
`studio.foundation.environment`; DEVELOPERS.md lists them. Nothing here is unsafe when nothing is
set.
"""

from datetime import timedelta
from pathlib import Path

from csp.constants import NONE, SELF

from studio.foundation.database import SCHEMES as DATABASE_SCHEMES
from studio.foundation.database import database
from studio.foundation.environment import Environment
from studio.foundation.logs import LEVELS, logging_settings
from studio.foundation.secret_key import secret_key
from studio.web.api.rest_settings import (  # noqa: F401
    DATA_UPLOAD_MAX_MEMORY_SIZE,
    LOGIN_REDIRECT_URL,
    LOGIN_URL,
    LOGOUT_REDIRECT_URL,
    REST_FRAMEWORK,
    REST_KNOX,
    SECURE_CONTENT_TYPE_NOSNIFF,
    SECURE_CROSS_ORIGIN_OPENER_POLICY,
    SECURE_REFERRER_POLICY,
    SPECTACULAR_SETTINGS,
    WHITENOISE_USE_FINDERS,
    X_FRAME_OPTIONS,
)
from studio.work import broker

env = Environment()

BASE_DIR = Path(__file__).resolve().parent.parent
IS_TREE = (BASE_DIR / "manage.py").is_file()
#: Everything the studio writes: database, secret key, messages between processes, mail, schedule.
#: Installed from a wheel it has no tree of its own: `var` is then in the folder it is started in.
VAR_DIR = env.path("STUDIO_VAR", (BASE_DIR if IS_TREE else Path.cwd()) / "var")
VAR_DIR.mkdir(mode=0o700, parents=True, exist_ok=True)

# The studio itself
STUDIO_NAME = env.text("STUDIO_NAME", "Soap studio")
#: As it stands on letters; a semicolon begins a new line.
STUDIO_ADDRESS = env.text("STUDIO_ADDRESS")
STUDIO_CURRENCY = env.text("STUDIO_CURRENCY", "USD")
STUDIO_LOCALE = env.text("STUDIO_LOCALE", "en_US")
#: Where a phone that scans a label reaches the studio.
STUDIO_URL = env.url("STUDIO_URL", "http://127.0.0.1:8000", frozenset({"http", "https"}))
STUDIO_MAIL_TO = env.words("STUDIO_MAIL_TO", ())
# Alerts: how often they are looked for, how far ahead of its best before a lot is looked at, after
# how many days a lot should be counted (0: never), and how many materials one worker takes at once
STUDIO_ALERT_SECONDS = env.whole("STUDIO_ALERT_SECONDS", 300, least=1, most=86_400)
STUDIO_EXPIRY_DAYS = env.whole("STUDIO_EXPIRY_DAYS", 30, least=0, most=3_650)
STUDIO_COUNT_DAYS = env.whole("STUDIO_COUNT_DAYS", 180, least=0, most=3_650)
STUDIO_ALERT_PART = env.whole("STUDIO_ALERT_PART", 5_000, least=1, most=100_000)

# Who may reach it
DEBUG = env.flag("STUDIO_DEBUG", False)
SECRET_KEY = secret_key(
    env.text("STUDIO_SECRET_KEY") or env.text("SECRET_KEY"), file=VAR_DIR / "secret_key"
)
ALLOWED_HOSTS = env.words("STUDIO_ALLOWED_HOSTS", ("localhost", "127.0.0.1", "[::1]"))
CSRF_TRUSTED_ORIGINS = env.words("STUDIO_TRUSTED_ORIGINS", ())
# Behind a proxy that ends HTTPS and sets X-Forwarded-Proto itself.
STUDIO_HTTPS = env.flag("STUDIO_HTTPS", False)
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if STUDIO_HTTPS else None
SECURE_SSL_REDIRECT = STUDIO_HTTPS
SECURE_HSTS_SECONDS = 3_600 if STUDIO_HTTPS else 0
SESSION_COOKIE_SECURE = STUDIO_HTTPS
CSRF_COOKIE_SECURE = STUDIO_HTTPS
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
        "NumericPasswordValidator",
    )
]

# Applications
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
    "django_htmx",
    "studio",
    "inventory",
    "recipes",
    "costing",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "studio.web.doers.NamesTheDoer",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
]
ROOT_URLCONF = "studio.urls"
WSGI_APPLICATION = "studio.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "studio.web.pages.frame.frame",
            ]
        },
    }
]
STATIC_URL = "/static/"
#: `serve` collects here; until then, files are served from where they are.
STATIC_ROOT = VAR_DIR / "static"
STATIC_ROOT.mkdir(mode=0o700, exist_ok=True)
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "studio.web.static_storage.HashedWhenCollected"},
}
CSRF_FAILURE_VIEW = "studio.web.pages.failures.forged"
# Nothing from elsewhere, nothing inline: what a page shows and runs are files of the studio.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
    }
}

# The database
DATABASES = {
    "default": database(
        env.url("DATABASE_URL", "", DATABASE_SCHEMES), sqlite_file=VAR_DIR / "studio.sqlite3"
    )
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# Time and language: moments are kept and logged in UTC
TIME_ZONE = "UTC"
USE_TZ = True
LANGUAGE_CODE = "en-us"

# Mail
EMAIL_BACKENDS = {
    "file": "django.core.mail.backends.filebased.EmailBackend",
    "console": "django.core.mail.backends.console.EmailBackend",
    "smtp": "django.core.mail.backends.smtp.EmailBackend",
}
EMAIL_BACKEND = EMAIL_BACKENDS[env.choice("STUDIO_MAIL", "file", frozenset(EMAIL_BACKENDS))]
EMAIL_FILE_PATH = VAR_DIR / "mail"
EMAIL_HOST = env.text("EMAIL_HOST", "localhost")
EMAIL_PORT = env.whole("EMAIL_PORT", 25, least=1, most=65_535)
EMAIL_HOST_USER = env.text("EMAIL_HOST_USER")
EMAIL_HOST_PASSWORD = env.text("EMAIL_HOST_PASSWORD")
EMAIL_USE_TLS = env.flag("EMAIL_USE_TLS", False)
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = env.text("STUDIO_MAIL_FROM", "studio@localhost")

# Work in the background
CELERY_BROKER_URL = env.url("CELERY_BROKER_URL", broker.EMBEDDED, broker.SCHEMES)
CELERY_BROKER_TRANSPORT_OPTIONS = broker.transport_options(
    CELERY_BROKER_URL, folder=VAR_DIR / "broker"
)
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TIMEZONE = "UTC"
CELERY_TASK_DEFAULT_QUEUE = broker.QUEUE
CELERY_TASK_QUEUES = broker.QUEUES
CELERY_TASK_ROUTES = {
    "studio.tasks.send_digests": {"queue": broker.OUTSIDE},
    "studio.tasks.send_webhooks": {"queue": broker.OUTSIDE},
    "inventory.tasks.send_order_mails": {"queue": broker.OUTSIDE},
    "costing.tasks.send_quote_mails": {"queue": broker.OUTSIDE},
}
# Results are rows of the database; nobody asks the broker for them.
CELERY_TASK_IGNORE_RESULT = True
# A task is acknowledged when it is done, and handed out again when its worker was killed.
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_TIME_LIMIT = broker.TASK_SECONDS
CELERY_TASK_SOFT_TIME_LIMIT = broker.TASK_WARNING_SECONDS
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BEAT_SCHEDULER = "studio.work.beat:OncePerPeriod"
CELERY_BEAT_SCHEDULE = {
    "raise-alerts": {
        "task": "inventory.tasks.raise_alerts",
        "schedule": timedelta(seconds=STUDIO_ALERT_SECONDS),
        # While no worker runs, scans do not pile up: a late one is as good as the next.
        "options": {"expires": STUDIO_ALERT_SECONDS},
    },
    "resend-jobs": {
        "task": "studio.tasks.resend_jobs",
        "schedule": timedelta(minutes=1),
        "options": {"expires": 60},
    },
    # Those a killed worker left behind; new ones are sent when they are written.
    "send-digests": {
        "task": "studio.tasks.send_digests",
        "schedule": timedelta(minutes=5),
        "options": {"expires": 300},
    },
    "send-webhooks": {
        "task": "studio.tasks.send_webhooks",
        "schedule": timedelta(minutes=1),
        "options": {"expires": 60},
    },
    "send-order-mails": {
        "task": "inventory.tasks.send_order_mails",
        "schedule": timedelta(minutes=5),
        "options": {"expires": 300},
    },
    "send-quote-mails": {
        "task": "costing.tasks.send_quote_mails",
        "schedule": timedelta(minutes=5),
        "options": {"expires": 300},
    },
    "expire-quotes": {
        "task": "costing.tasks.expire_quotes",
        "schedule": timedelta(hours=1),
        "options": {"expires": 3_600},
    },
    "expire-reservations": {
        "task": "inventory.tasks.expire_reservations",
        "schedule": timedelta(hours=1),
        "options": {"expires": 3_600},
    },
    "resend-imports": {
        "task": "studio.tasks.resend_imports",
        "schedule": timedelta(minutes=1),
        "options": {"expires": 60},
    },
    "forget-old-keys": {
        "task": "studio.tasks.forget_old_keys",
        "schedule": timedelta(days=1),
        "options": {"expires": 3_600},
    },
}

LOGGING = logging_settings(env.choice("STUDIO_LOG_LEVEL", "INFO", LEVELS))
