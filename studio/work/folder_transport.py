"""Kombu's transport over a folder, with each message whole when it is seen and taken by one.

Kombu's own creates a message's file and then fills it: a reader that looks in between takes an
empty message, and the worker falls over it. It also takes a message by moving it to the machine's
folder for temporary files, which is a copy where that is another disk, so that two readers can
both take it. Here a message is renamed within its folder, which the file system does at one stroke.
Folders that somebody took away are made again, and who reads what is known still: nothing that
serves may end for want of them.
"""

import fcntl
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from queue import Empty
from typing import Any, ClassVar

from kombu.transport import filesystem
from kombu.utils.json import dumps, loads


class Channel(filesystem.Channel):
    """Messages as files named by time and queue."""

    #: Exchange -> what this process bound to it, for when the files that tell it are gone.
    _bound: ClassVar[dict[str, list[Any]]] = {}

    def _put(self, queue: str, payload: Any, **_: Any) -> None:  # type: ignore[override]
        name = f"{time.time_ns():020d}_{uuid.uuid4()}.{queue}.msg"
        draft = self._folder / f"{uuid.uuid4()}.draft"
        draft.write_text(dumps(payload), encoding="utf-8")
        draft.rename(self._folder / name)

    def _get(self, queue: str, timeout: float | None = None) -> Any:
        waiting = (each for each in self._folder.iterdir() if _is_for(queue, each))
        for file in sorted(waiting):
            taken = self._folder / f"{uuid.uuid4()}.taken"
            try:
                file.rename(taken)
            except FileNotFoundError:  # another reader was quicker
                continue
            payload = loads(taken.read_text(encoding="utf-8"))
            taken.unlink()
            return payload
        raise Empty

    def get_table(self, exchange: str) -> Any:
        with self._control_locked():
            return super().get_table(exchange) or self._bound.get(exchange, [])

    def _queue_bind(self, exchange: str, *binding: Any) -> None:
        with self._control_locked():
            super()._queue_bind(exchange, *binding)
            self._bound[exchange] = super().get_table(exchange)

    def _delete(self, *args: Any, **kwargs: Any) -> None:
        with self._control_locked():
            super()._delete(*args, **kwargs)

    @property
    def _folder(self) -> Path:
        folder = Path(self.data_folder_in)
        folder.mkdir(parents=True, exist_ok=True)
        return folder

    @contextmanager
    def _control_locked(self) -> Iterator[None]:
        # The lists of queues are files too, empty for a moment when they are made.
        self.control_folder.mkdir(parents=True, exist_ok=True)
        with (self.control_folder / "lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield


class Transport(filesystem.Transport):
    """`filesystem://` as `studio.celery` registers it."""

    Channel = Channel

    def drain_events(self, connection: Any, timeout: float | None = None, **kwargs: Any) -> None:
        """Wait no longer than until the next look: a worker that is asked to stop notices only
        after the wait, for which Celery takes two seconds."""
        if timeout is not None:
            timeout = min(timeout, self.polling_interval or timeout)
        super().drain_events(connection, timeout=timeout, **kwargs)


def _is_for(queue: str, file: Path) -> bool:
    return file.name.partition(".")[2] == f"{queue}.msg"
