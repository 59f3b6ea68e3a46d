"""Logging: plain lines to standard error, for whatever runs the studio to keep."""

from typing import Any

LEVELS = frozenset({"DEBUG", "INFO", "WARNING", "ERROR"})


def logging_settings(level: str) -> dict[str, Any]:
    """The LOGGING setting with everything from `level` up on standard error."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {
            "plain": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}
        },
        "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "plain"}},
        "root": {"handlers": ["stderr"], "level": level},
        # Django's own handlers would mail the admins or print each line twice.
        "loggers": {"django": {"handlers": [], "propagate": True}},
    }
