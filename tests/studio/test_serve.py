"""`manage.py serve` for real: it serves, works on schedule, and leaves nothing behind.

The first test starts on nothing; the others in a studio that was made before, as on every day after
the first.
"""

import contextlib
import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

import psutil
import pytest
from django.test import override_settings

from studio.settings import STORAGES
from studio.web.static_storage import collect
from tests.databases import Sqlite, make
from tests.waiting import eventually

ROOT = Path(__file__).resolve().parents[2]
# Web server, worker and scheduler, and one process that the first two each fork.
ALL = 5
LEFT_OUT = {"--no-beat": 1, "--no-worker": 2}
#: How its lines begin when it starts on nothing, in their order.
TOLD = (
    "Starting to serve",
    "Bringing the tables",
    "Collecting",
    "Starting the web server",
    "Starting the worker",
    "Starting the scheduler",
    "Serving on",
)
pytestmark = pytest.mark.worker


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Serving:
    """A running `manage.py serve` with a folder of its own."""

    def __init__(self, folder, *options):
        self.folder, self.port, self.log = folder, free_port(), folder / "serve.log"
        environment = {
            **os.environ,
            "STUDIO_VAR": str(folder / "var"),
            "DJANGO_SETTINGS_MODULE": "tests.served_settings",
            "STUDIO_LOG_LEVEL": "INFO",
        }
        with self.log.open("wb") as output:
            self.process = subprocess.Popen(
                [sys.executable, "manage.py", "serve", "--port", str(self.port), *options],
                cwd=ROOT,
                env=environment,
                stdout=output,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        self.family = []

    def printed(self):
        return self.log.read_text(encoding="utf-8", errors="replace")

    def wait_until_serving(self, *, processes=ALL):
        eventually(
            lambda: "Serving on" in self.printed() or self.process.poll() is not None,
            what="the address is printed",
            more=self.printed,
        )
        assert self.process.poll() is None, self.printed()
        eventually(
            lambda: len(self.look_for_family()) == processes,
            what=f"{processes} processes run",
            more=self.printed,
        )

    def look_for_family(self):
        self.family = psutil.Process(self.process.pid).children(recursive=True)
        return self.family

    def part(self, word):
        """The process among the direct children whose command holds the word."""
        children = psutil.Process(self.process.pid).children()
        return next(child for child in children if word in child.cmdline())

    def wait_until_none_is_left(self):
        left = psutil.wait_procs(self.family, timeout=30)[1]
        assert not left, [process.cmdline() for process in left]

    def end(self):
        self.process.kill()
        self.process.wait()
        for process in self.family:
            with contextlib.suppress(psutil.NoSuchProcess):
                process.kill()


@pytest.fixture
def serve(tmp_path):
    started = []

    def start(*options):
        started.append(Serving(tmp_path, *options))
        return started[-1]

    yield start
    for serving in started:
        serving.end()


@pytest.fixture(scope="module")
def made(tmp_path_factory, django_db_blocker):
    """An empty studio as `serve` leaves it: with its tables, and with its files collected."""
    var = tmp_path_factory.mktemp("made")
    with django_db_blocker.unblock():
        make(Sqlite(var))
    with override_settings(STATIC_ROOT=var / "static", STORAGES=STORAGES):
        (var / "static").mkdir()
        collect()
    return var


@pytest.fixture
def tables(tmp_path, made):
    """That studio where `serve` will look for it."""
    shutil.copytree(made, tmp_path / "var")


def status(port, path="/"):
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=30) as answer:
            return answer.status
    except urllib.error.HTTPError as error:
        return error.code


def rows(file):
    with sqlite3.connect(f"file:{file}?mode=ro", uri=True) as books:
        return [name for (name,) in books.execute("SELECT name FROM auth_group")]


def test_serves_works_on_schedule_and_stops_on_ctrl_c(serve):
    serving = serve()
    serving.wait_until_serving()
    assert status(serving.port) == 200
    assert f"http://127.0.0.1:{serving.port}/" in serving.printed()
    said = [line for line in serving.printed().splitlines() if line.startswith(TOLD)]
    assert len(said) == len(TOLD)
    assert all(line.startswith(word) for line, word in zip(said, TOLD, strict=True))
    eventually(
        lambda: "sent by beat" in rows(serving.folder / "var" / "studio.sqlite3"),
        what="the worker did what the scheduler sent",
        more=serving.printed,
    )
    serving.process.send_signal(signal.SIGINT)
    assert serving.process.wait(60) == 0, serving.printed()
    serving.wait_until_none_is_left()
    assert serving.printed().rstrip().endswith("Stopped.")


def test_leaves_nothing_behind_when_it_is_killed(tables, serve):
    serving = serve()
    serving.wait_until_serving()
    serving.process.kill()
    serving.wait_until_none_is_left()


@pytest.mark.parametrize(
    ("word", "name", "without"),
    [
        ("granian", "web server", "--no-beat"),
        ("worker", "worker", "--no-beat"),
        ("beat", "scheduler", "--no-worker"),
    ],
    ids=["granian", "worker", "beat"],
)
def test_stops_all_and_says_which_when_one_ends(tables, serve, word, name, without):
    serving = serve(without)
    serving.wait_until_serving(processes=ALL - LEFT_OUT[without])
    assert "Collecting" not in serving.printed()
    serving.part(word).kill()
    assert serving.process.wait(60) != 0
    assert f"The {name} ended by itself" in serving.printed()
    serving.wait_until_none_is_left()


def test_parts_can_be_left_out_and_sigterm_stops_too(tables, serve):
    serving = serve("--no-worker", "--no-beat")
    serving.wait_until_serving(processes=2)
    serving.process.terminate()
    assert serving.process.wait(60) == 0
    serving.wait_until_none_is_left()


def test_a_taken_port_is_refused_before_anything_starts(serve):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        serving = serve("--port", str(taken.getsockname()[1]))
        assert serving.process.wait(60) != 0
    assert "give another with --host or --port" in serving.printed()
    assert "Traceback" not in serving.printed()
