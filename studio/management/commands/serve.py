"""`manage.py serve`: the web server, a worker and the scheduler, as one thing to start and stop."""

import os
import socket
import sys
from contextlib import closing
from http.client import HTTPConnection, HTTPException
from typing import Any

from django.core.checks import Tags
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connections

from studio.checks import MACHINE
from studio.web.static_storage import collect, is_collected
from studio.work.serving import Part, Service, signals_held

START_SECONDS = 60
ANSWER_SECONDS = 10


class Command(BaseCommand):
    help = "Serve the studio: web server, background worker and scheduler, until Ctrl-C."
    requires_system_checks = [MACHINE, Tags.models]

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on")
        parser.add_argument("--port", type=int, default=8000, help="port to listen on")
        parser.add_argument("--workers", type=int, default=1, help="web server processes")
        parser.add_argument("--no-worker", action="store_true", help="start no background worker")
        parser.add_argument("--no-beat", action="store_true", help="start no scheduler")
        parser.add_argument(
            "--no-migrate", action="store_true", help="leave the tables as they are"
        )

    def handle(self, *_: Any, **options: Any) -> None:
        host, port = options["host"], options["port"]
        _refuse_taken(host, port)
        if not options["no_migrate"]:
            self._tell("Bringing the tables up to date.")
            call_command("migrate", interactive=False, verbosity=0)
        if not is_collected():
            self._tell("Collecting and compressing the files that pages load.")
            collect()
        # The children open their own.
        connections.close_all()
        with signals_held():
            ended = self._serve(_parts(options), host, port)
        if ended:
            raise CommandError(f"The {ended} ended by itself; everything else was stopped.")
        self.stdout.write("Stopped.")

    def _serve(self, parts: list[Part], host: str, port: int) -> str | None:
        service = Service(os.environ)
        try:
            # Pages first: started together, the others would keep them waiting.
            web, *others = parts
            self._start(service, web)
            answered = service.wait_for(lambda: _answers(host, port), seconds=START_SECONDS)
            for part in others:
                self._start(service, part)
            if answered:
                names = ", ".join(part.name for part in parts)
                self._tell(f"Serving on {_address(host, port)} ({names}). Ctrl-C stops it.")
            return service.wait()
        finally:
            service.stop()

    def _start(self, service: Service, part: Part) -> None:
        self._tell(f"Starting the {part.name}.")
        service.start(part)

    def _tell(self, line: str) -> None:
        """Say it now, also where the output is a file or a pipe."""
        self.stdout.write(line)
        self.stdout.flush()


def _parts(options: dict[str, Any]) -> list[Part]:
    python = [sys.executable, "-m"]
    web = [*python, "granian", "--interface", "wsgi", "--no-ws", "--blocking-threads", "4"]
    web += ["--host", options["host"], "--port", str(options["port"])]
    web += ["--workers", str(options["workers"]), "studio.wsgi:application"]
    parts = [Part("web server", web)]
    celery = [*python, "celery", "-A", "studio"]
    if not options["no_worker"]:
        # Gossip, mingle and heartbeat are for workers that watch each other: this one is alone.
        alone = ["--without-gossip", "--without-mingle", "--without-heartbeat"]
        quiet = ["--concurrency", "1", "--loglevel", "INFO"]
        parts.append(Part("worker", [*celery, "worker", *quiet, *alone]))
    if not options["no_beat"]:
        # No pid file: one left behind by a power cut would keep the next start from working.
        parts.append(Part("scheduler", [*celery, "beat", "--pidfile=", "--loglevel", "INFO"]))
    return parts


def _refuse_taken(host: str, port: int) -> None:
    # The web server shares its port with others of its kind, and so would not notice.
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        with socket.socket(family, kind, protocol) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(address)
    except (OSError, OverflowError) as error:
        raise CommandError(
            f"Cannot listen on {host}, port {port} ({error}): give another with --host or --port."
        ) from error


def _answers(host: str, port: int) -> bool:
    """Whether a page comes back, whatever it says: the first one loads much of the studio."""
    try:
        connection = HTTPConnection(_reachable(host), port, timeout=ANSWER_SECONDS)
        with closing(connection):
            connection.request("GET", "/")
            connection.getresponse()
        return True
    except (OSError, HTTPException):
        return False


def _address(host: str, port: int) -> str:
    name = _reachable(host)
    return f"http://[{name}]:{port}/" if ":" in name else f"http://{name}:{port}/"


def _reachable(host: str) -> str:
    """Where to find a server that listens on every address of the machine."""
    return {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)
