"""A real Redis, started on a free port in a folder of its own and stopped again."""

import shutil
import socket
import subprocess
from pathlib import Path

import redis

from tests.waiting import eventually

BINARY = shutil.which("redis-server")
WANTED = "redis-server is not installed (apt-get install redis-server)"


class RedisServer:
    """`url` leads to it; nothing of it is kept on disk."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        assert BINARY, WANTED
        self.url = f"redis://127.0.0.1:{port}/0"
        self._log = folder / "redis.log"
        with self._log.open("wb") as output:
            self._process = subprocess.Popen(
                [
                    *(BINARY, "--port", str(port), "--bind", "127.0.0.1", "--dir", str(folder)),
                    *("--save", "", "--appendonly", "no"),
                ],
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        self.client = redis.Redis.from_url(self.url)
        eventually(self._answers, what="redis answers", more=self._log.read_text)

    def _answers(self) -> bool:
        try:
            return bool(self.client.ping())
        except redis.ConnectionError:
            return False

    def stop(self) -> None:
        """End it."""
        self.client.close()
        self._process.kill()
        self._process.wait()
