"""Waiting for what another thread or process does: until it is so, never for a while."""

import time
from collections.abc import Callable

#: Far more than anything takes on a busy machine; only what fails waits so long.
PATIENCE_SECONDS = 180
PAUSE_SECONDS = 0.05


def eventually(
    is_so: Callable[[], object],
    *,
    what: str,
    seconds: float = PATIENCE_SECONDS,
    more: Callable[[], str] = str,
) -> None:
    """Return as soon as `is_so()` is true; fail, saying `what` was waited for and `more`."""
    deadline = time.monotonic() + seconds
    while not is_so():
        if time.monotonic() > deadline:
            raise AssertionError(f"Waited {seconds} s in vain: {what}\n{more()}")
        time.sleep(PAUSE_SECONDS)
