"""Commands of the studio as a person gives them: in a process of their own."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def manage(var, *words, **more):
    """Run `manage.py` with its folder at `var`, in an environment without the caller's settings."""
    environment = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("STUDIO_", "DJANGO_", "DATABASE_", "CELERY_", "COV"))
    }
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), *words],
        env={**environment, "STUDIO_VAR": str(var), "COLUMNS": "120", **more},
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )
