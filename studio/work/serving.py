"""Child processes that end together, and never outlive the process that started them."""

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

#: What wakes the parent: someone wants it to stop, or a child has ended.
STOPS = frozenset({signal.SIGINT, signal.SIGTERM, signal.SIGHUP})
WAKES = STOPS | {signal.SIGCHLD}

#: How long a child has to end by itself; a task in work then goes back to the queue.
GRACE_SECONDS = 20

#: Set for the children, so that those they fork in turn know to call `die_with_parent`.
SERVED = "STUDIO_SERVED"

PR_SET_PDEATHSIG = 1


@dataclass(frozen=True, slots=True)
class Part:
    """One program of the service; a `quiet` one says nothing but its errors."""

    name: str
    command: Sequence[str]
    quiet: bool = False


def die_with_parent(parent: int | None = None) -> None:
    """Ask the kernel to kill this process when the one that started it is gone.

    A parent that is itself killed cannot tell its children to stop. Linux only; elsewhere it does
    nothing. The request does not pass to what this process forks: each has to make its own.
    """
    if not sys.platform.startswith("linux"):
        return
    ctypes.CDLL(None, use_errno=True).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
    # The parent may have died before the request was made.
    if os.getppid() == 1 or parent not in (None, os.getppid()):
        os.kill(os.getpid(), signal.SIGKILL)


def die_with_served_parent() -> None:
    """`die_with_parent` where `serve` started the parent; another server keeps its own ways."""
    if os.environ.get(SERVED):
        die_with_parent()


@contextlib.contextmanager
def signals_held() -> Iterator[None]:
    """Keep the signals in `WAKES` waiting for `sigwait`, and none of them lost between two."""
    held = signal.pthread_sigmask(signal.SIG_BLOCK, WAKES)
    # An ignored signal may be dropped even while it is blocked; a handled one is not.
    before = signal.signal(signal.SIGCHLD, lambda *_: None)
    try:
        yield
    finally:
        signal.signal(signal.SIGCHLD, before)
        signal.pthread_sigmask(signal.SIG_SETMASK, held)


class Service:
    """The parts of the service as running child processes. Use it inside `signals_held`."""

    def __init__(self, environment: Mapping[str, str]) -> None:
        # The checks were made by the command that serves; each part would make them again.
        self._environment = {**environment, SERVED: "1", "CELERY_SKIP_CHECKS": "1"}
        self._running: dict[str, subprocess.Popen[bytes]] = {}

    def start(self, part: Part) -> None:
        """Start one part in a session of its own: a Ctrl-C reaches the parent alone."""
        parent = os.getpid()

        def prepare() -> None:
            signal.pthread_sigmask(signal.SIG_UNBLOCK, WAKES)
            die_with_parent(parent)

        self._running[part.name] = subprocess.Popen(
            part.command,
            env=self._environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL if part.quiet else None,
            start_new_session=True,
            preexec_fn=prepare,  # noqa: PLW1509 - this process has no other threads
        )

    def ended(self) -> str | None:
        """The name of a part that has ended, if one has."""
        for name, process in self._running.items():
            if process.poll() is not None:
                return name
        return None

    def wait(self) -> str | None:
        """Wait until a part ends, and return its name; None when asked to stop."""
        while not (name := self.ended()):
            if signal.sigwait(WAKES) in STOPS:
                return None
        return name

    def wait_for(self, ready: Callable[[], bool], *, seconds: float) -> bool:
        """Whether `ready` came true before a part ended, a stop was asked, or the time ran out."""
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            if self.ended() or signal.sigpending() & STOPS:
                return False
            if ready():
                return True
            time.sleep(0.1)
        return False

    def stop(self) -> None:
        """End every part: first asked, then, after `GRACE_SECONDS`, killed with all it started."""
        for process in self._running.values():
            with contextlib.suppress(ProcessLookupError):
                process.terminate()
        deadline = time.monotonic() + GRACE_SECONDS
        for process in self._running.values():
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(max(0.0, deadline - time.monotonic()))
            # Also where the part has ended: what it forked is in the same group.
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()
