"""Starting the same work in many threads at once, to see who wins."""

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from django.db import connection

PATIENCE_SECONDS = 60

Given = TypeVar("Given")
Answer = TypeVar("Answer")


def at_once(work: Callable[[Given], Answer], given: Sequence[Given]) -> list[Answer | Exception]:
    """What `work` answered or raised for each of `given`, all started at the same moment.

    Each runs in a thread with a database connection of its own, which is closed at its end.
    """
    start = threading.Barrier(len(given))

    def one(value: Given) -> Answer | Exception:
        start.wait(PATIENCE_SECONDS)
        try:
            return work(value)
        except Exception as error:
            return error
        finally:
            connection.close()

    with ThreadPoolExecutor(max_workers=len(given)) as pool:
        return list(pool.map(one, given))
