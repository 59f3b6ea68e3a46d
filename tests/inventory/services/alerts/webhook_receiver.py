"""Another program: a real HTTP server that keeps what it is sent and answers as it is told."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


class Receiver:
    """What was received, as (headers, body); `answers` are the next statuses, then 204."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.answers: list[int] = []
        self.received: list[tuple[dict[str, str], bytes]] = []


@contextmanager
def receiver() -> Iterator[Receiver]:
    """A server on a free port of this machine."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["content-length"]))
            found.received.append(({k.lower(): v for k, v in self.headers.items()}, body))
            status = found.answers.pop(0) if found.answers else 204
            self.send_response(status)
            if status in (301, 307):
                self.send_header("location", found.url)
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            """Quiet."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    found = Receiver(f"http://127.0.0.1:{server.server_port}/alerts")
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield found
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
