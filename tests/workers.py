"""Real Celery workers and schedulers in processes of their own, on any broker."""

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from tests.waiting import eventually

ROOT = Path(__file__).resolve().parent.parent
CELERY = (sys.executable, "-m", "celery", "-A", "studio")
WORKER = (
    *(*CELERY, "worker", "--include", "tests.probe"),
    *("--concurrency", "1", "--loglevel", "INFO"),
    *("--without-gossip", "--without-mingle", "--without-heartbeat"),
)
BEAT = (*CELERY, "beat", "--pidfile=", "--loglevel", "INFO", "--max-interval", "1")


class Worker:
    """One worker process. It reads the tasks of the studio and those of tests.probe.

    `more` is put into its environment: CELERY_BROKER_URL for another broker than the embedded one,
    the settings of tests.probe. With `command` it is a scheduler instead.
    """

    def __init__(
        self,
        *,
        database_url: str,
        log: Path,
        more: Mapping[str, str] | None = None,
        command: tuple[str, ...] = WORKER,
    ) -> None:
        self._log = log
        with log.open("wb") as output:
            self._process = subprocess.Popen(
                command,
                cwd=ROOT,
                env={
                    **os.environ,
                    "DJANGO_SETTINGS_MODULE": "studio.settings",
                    "DATABASE_URL": database_url,
                    "STUDIO_LOG_LEVEL": "INFO",
                    # As `serve` starts them.
                    "CELERY_SKIP_CHECKS": "1",
                    **(more or {}),
                },
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )

    def log(self) -> str:
        """All that the worker has printed."""
        return self._log.read_text(encoding="utf-8", errors="replace")

    def wait_until_ready(self) -> None:
        """Return when the worker takes tasks."""
        self.wait_until(lambda: " ready." in self.log(), what="the worker is ready")

    def wait_until(self, is_so: Callable[[], object], *, what: str) -> None:
        """Return when `is_so()`; fail with the worker's log when that takes too long."""

        def so_or_dead() -> bool:
            if self._process.poll() is not None:
                raise AssertionError(f"The worker has ended:\n{self.log()}")
            return bool(is_so())

        eventually(so_or_dead, what=what, more=self.log)

    def wait_for(self, sent: Iterable[str]) -> None:
        """Return when all these tasks, by their ids, are done, however soon that was."""
        wanted = [f"[{each}] succeeded in" for each in sent]
        self.wait_until(lambda: all(one in self.log() for one in wanted), what="the rest is done")

    def stop(self) -> None:
        """Kill the worker and what it forked: asked to stop, it would take some seconds."""
        if self._process.poll() is None:
            os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait()
