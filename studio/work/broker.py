"""The broker that carries tasks: a folder by default, Redis or RabbitMQ by CELERY_BROKER_URL."""

from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from kombu import Exchange, Queue

EMBEDDED = "filesystem://localhost"
SCHEMES = frozenset({"filesystem", "redis", "rediss", "amqp", "amqps", "pyamqp"})

#: Work on the database, and what waits for other machines: mail servers and other programs. One
#: worker takes both; a studio with several may give the second queue a worker of its own.
QUEUE = "studio"
OUTSIDE = "studio-outside"
QUEUES = tuple(
    Queue(name, Exchange(name, type="direct"), routing_key=name) for name in (QUEUE, OUTSIDE)
)

#: The longest a task may run; it is told some seconds before, so that it can end by itself.
TASK_SECONDS = 600
TASK_WARNING_SECONDS = 570
#: The longest that one try of sending a message waits at each step; there are two tries.
SENDING_SECONDS = 0.5


def transport_options(url: str, *, folder: Path) -> dict[str, Any]:
    """Kombu's options for the broker at `url`; `folder` holds the messages of the embedded one."""
    scheme = urlsplit(url).scheme
    if scheme == "filesystem":
        return _embedded(folder)
    if scheme.startswith("redis"):
        return {
            # Redis hands a message out again when it was not acknowledged for this long: longer
            # than any task runs, or a long one would run twice at once.
            "visibility_timeout": 2 * TASK_SECONDS,
            # With the defaults the tasks of a killed worker are looked for every 100 s or so.
            "unacked_restore_interval": 2,
            "unacked_restore_throttle": 1,
        }
    return {"confirm_publish": True}


def sending_options(url: str) -> dict[str, float]:
    """Kombu's options for telling workers from a request, which a hanging broker must not hold."""
    scheme = urlsplit(url).scheme
    if scheme == "filesystem":
        return {}
    if scheme.startswith("redis"):
        return {"socket_connect_timeout": SENDING_SECONDS, "socket_timeout": SENDING_SECONDS}
    return {"read_timeout": SENDING_SECONDS, "write_timeout": SENDING_SECONDS}


def _embedded(folder: Path) -> dict[str, Any]:
    messages, control = folder / "messages", folder / "control"
    for each in (messages, control):
        each.mkdir(parents=True, exist_ok=True)
    return {
        # The same folder both ways: the web process writes what the worker reads.
        "data_folder_in": str(messages),
        "data_folder_out": str(messages),
        "control_folder": str(control),
        "store_processed": False,
        "polling_interval": 0.1,
    }
