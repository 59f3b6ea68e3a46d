"""What tests need of the machine and Python brings not along: a Redis, a browser, poppler."""

import os
from typing import NoReturn

import pytest


def not_installed(wanted: str) -> NoReturn:
    """Skip the test and say what is wanted; a run with CI=true fails there, for it installs it."""
    if os.environ.get("CI") == "true":
        pytest.fail(wanted)
    pytest.skip(wanted)
