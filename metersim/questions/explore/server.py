"""A server of the page on this computer alone: who may ask, how much, and how replies are sent.

It listens on 127.0.0.1.  A request has to name this server as its host, so that no other name
can be made to point here, and a page of another origin is refused.
"""

from __future__ import annotations

import errno
import json
import socketserver
import sys
from collections.abc import Iterator, Mapping
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from metersim import __version__
from metersim.files.faults import Parameter, bad
from metersim.questions.explore.api import JSON, MOST_BODY, ROUTES, Reply, faulty, reply_to
from metersim.questions.explore.sessions import Sessions
from metersim.questions.shared.motion.followed import SCRIPTS

HOST = "127.0.0.1"
NAMES = (HOST, "localhost")
API = "/api/"
WAIT = 30.0  # s that a connection may say nothing
HERE = Path(__file__).parent
PAGE, MOTION = HERE / "page", HERE.parent / "shared" / "motion"
KINDS = {
    suffix: f"text/{kind}; charset=utf-8"
    for suffix, kind in ((".html", "html"), (".css", "css"), (".js", "javascript"))
}
ASSETS: Mapping[str, Path] = {
    "/": PAGE / "index.html",
    "/hidden": PAGE / "hidden.html",
    **{f"/{file.name}": file for file in sorted(PAGE.glob("*.*")) if file.suffix != ".html"},
    **{f"/{name}": MOTION / name for name in SCRIPTS},
}
"""Files that are served, by their path; nothing else of the disk is."""
SAFE = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' data: blob:; "
    "object-src 'none'; base-uri 'none'; frame-ancestors 'none'; form-action 'none'",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
}


class Server(ThreadingHTTPServer):
    """The server of a page.

    Parameters
    ----------
    sessions : Sessions
        What is open, and can be opened.
    port : int
        Port to listen on; 0 for a free one.
    units : str
        Units in which a page begins.

    Raises
    ------
    BadInput
        When the port cannot be had.
    """

    daemon_threads = True
    block_on_close = False

    def __init__(self, sessions: Sessions, port: int = 0, units: str = "metric") -> None:
        self.sessions, self.units = sessions, units
        try:
            super().__init__((HOST, port), Handler)
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                message = "is in use; give another port, or 0 for a free one"
            else:
                message = f"cannot be had: {error.strerror}; give another, or 0 for a free one"
            raise bad(Parameter("port"), str(port), message) from None

    def server_bind(self) -> None:
        """Take the port; the name of this computer is not looked up."""
        socketserver.TCPServer.server_bind(self)
        self.server_name, self.server_port = HOST, self.server_address[1]

    @property
    def address(self) -> str:
        """Address of the page."""
        return f"http://{HOST}:{self.server_port}/"

    @property
    def hosts(self) -> tuple[str, ...]:
        """What a request may name as its host."""
        return tuple(f"{name}:{self.server_port}" for name in NAMES)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Say nothing of a browser that went away."""
        if not isinstance(sys.exception(), OSError):
            super().handle_error(request, client_address)


class Handler(BaseHTTPRequestHandler):
    """One connection of a browser."""

    server: Server
    protocol_version = "HTTP/1.1"
    server_version, sys_version = f"metersim/{__version__}", ""
    timeout = WAIT
    disable_nagle_algorithm = True

    def do_GET(self) -> None:
        """Give a file of the page."""
        if "Content-Length" in self.headers or "Transfer-Encoding" in self.headers:
            self.close_connection = True  # a body is not read, and is no further request
        if refused := self._foreign():
            return self._send(refused)
        path = self.path.partition("?")[0]
        if path == "/favicon.ico":
            return self._send(Reply(204, "", b""))
        if path.startswith(API):
            return self._send(faulty(405, ["Ask with POST."]), {"Allow": "POST"})
        file = ASSETS.get(path)
        if file is None or not file.is_file():
            return self._send(faulty(404, ["There is no such page."]))
        return self._send(Reply(200, KINDS[file.suffix], file.read_bytes()))

    def do_POST(self) -> None:
        """Answer a request of the page."""
        route = self.path.removeprefix(API)
        if refused := self._foreign() or self._unfit():
            self.close_connection = True  # its body is not read
            return self._send(refused)
        length = int(self.headers["Content-Length"])
        body = self.rfile.read(length)
        if len(body) < length:
            self.close_connection = True
            return self._send(faulty(400, ["The body ends before its stated length."]))
        if not self.path.startswith(API) or route not in ROUTES:
            known = self.path.partition("?")[0] in ASSETS
            said = "Ask with GET." if known else "There is no such request."
            return self._send(faulty(405 if known else 404, [said]))
        try:
            reply = reply_to(self.server.sessions, self.server.units, route, body)
        except Exception as error:  # a page says so; the server goes on
            said = f"The program failed: {type(error).__name__}: {error}"
            reply = faulty(500, [said[:300]])
        return self._send(reply)

    def _foreign(self) -> Reply | None:
        """A refusal of what another page or another name asks."""
        named = self.headers.get_all("Host") or []
        if len(named) != 1 or named[0].lower() not in self.server.hosts:
            return faulty(403, [f"This page is at {self.server.address} alone."])
        origins = set(self.headers.get_all("Origin") or [])
        if origins - {f"http://{one}" for one in self.server.hosts}:
            return faulty(403, ["Another page may not ask here."])
        return None

    def _unfit(self) -> Reply | None:
        """A refusal of a body that is not read."""
        kind = self.headers.get("Content-Type", "").partition(";")[0].strip().lower()
        if kind != JSON:
            return faulty(415, [f"The body must be {JSON}."])
        length = ", ".join(self.headers.get_all("Content-Length") or [])  # of one alone a number
        if "Transfer-Encoding" in self.headers or not (length.isascii() and length.isdigit()):
            return faulty(411, ["The length of the body must be stated."])
        if len(length) > 12 or int(length) > MOST_BODY:
            return faulty(413, [f"A request takes {MOST_BODY:,} bytes at most."])
        return None

    def _send(self, reply: Reply, more: Mapping[str, str] | None = None) -> None:
        """Send a reply, whole or piece by piece as it is made."""
        self.send_response(reply.status)
        for name, value in (SAFE | dict(more or {})).items():
            self.send_header(name, value)
        if reply.kind:
            self.send_header("Content-Type", reply.kind)
        if self.close_connection:
            self.send_header("Connection", "close")
        if isinstance(reply.content, bytes):
            if reply.status != HTTPStatus.NO_CONTENT:
                self.send_header("Content-Length", str(len(reply.content)))
            self.end_headers()
            self.wfile.write(reply.content)
        else:
            self.send_header("Transfer-Encoding", "chunked")
            self.end_headers()
            self._pieces(reply.content)

    def _pieces(self, pieces: Iterator[bytes]) -> None:
        """Send pieces as they are made; one that fails ends the reply with a line that says so."""
        self.close_connection = True  # also where the last chunk is never sent
        try:
            for piece in pieces:
                self._chunk(piece)
        except OSError:
            raise
        except Exception as error:
            said = f"The program failed: {type(error).__name__}: {error}"[:300]
            self._chunk(json.dumps({"state": "faults", "faults": [said]}).encode() + b"\n")
        self.wfile.write(b"0\r\n\r\n")
        self.close_connection = False

    def _chunk(self, piece: bytes) -> None:
        self.wfile.write(b"%x\r\n%b\r\n" % (len(piece), piece))

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """Refuse what is no request, or none with GET or POST."""
        self.close_connection = True
        if code == HTTPStatus.NOT_IMPLEMENTED:
            return self._send(faulty(405, ["Ask with GET or POST."]), {"Allow": "GET, POST"})
        return self._send(faulty(code, [message or HTTPStatus(code).phrase]))

    def log_message(self, *said: Any) -> None:
        """Print nothing: the answer of the command is the address."""
