"""The field page given to telephones over the camp's own network: that page and nothing else.

Nothing is read from disk and nothing can be sent here: the page is held in memory, and every
other path is not found. It ends with the command that began it.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

#: The page, and the same as a file to keep.
PAGE_PATH, FILE_PATH = "/", "/field.html"
_SILENT_S = 10.0
_HEADERS = {
    "Content-Type": "text/html; charset=utf-8",
    "Content-Security-Policy": "default-src 'none'; script-src 'unsafe-inline'; "
    "style-src 'unsafe-inline'; img-src data: blob:; base-uri 'none'; form-action 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


class NoNetwork(OSError):
    """No address at which a telephone could reach this machine, or one open to the world."""


def own_address() -> str:
    """This machine's address in the network it stands in; nothing is sent to find it.

    Raises:
        NoNetwork: it is in none, or in one that is not private.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            # An address of documentation (RFC 5737): only the way toward it is looked up.
            asking.connect(("192.0.2.1", 9))
            found = str(asking.getsockname()[0])
        except OSError:
            raise NoNetwork("this machine is in no network") from None
    if not ipaddress.ip_address(found).is_private:
        raise NoNetwork(f"its address {found} is open to the world")
    return found


def page_server(
    page: str, address: str, port: int, told: Callable[[str], None] = lambda _: None
) -> ThreadingHTTPServer:
    """A server of one page, bound to one address; `serve_forever` begins it.

    Args:
        page: the text.
        address: of this machine, IPv4.
        port: 0 for any that is free.
        told: called with the address of each telephone that is given the page.

    Raises:
        OSError: the port is in use, or the address is not this machine's.
    """
    data = page.encode("utf-8")

    class OnePage(BaseHTTPRequestHandler):
        """GET and HEAD of the page; all else is not found or not allowed."""

        timeout = _SILENT_S
        server_version, sys_version = "orient", ""

        def do_GET(self) -> None:
            if self._begun():
                self.wfile.write(data)
                told(str(self.client_address[0]))

        def do_HEAD(self) -> None:
            self._begun()

        def _begun(self) -> bool:
            path = self.path.partition("?")[0]
            if path not in (PAGE_PATH, FILE_PATH):
                self.send_error(404)
                return False
            self.send_response(200)
            for name, value in _HEADERS.items():
                self.send_header(name, value)
            if path == FILE_PATH:
                self.send_header("Content-Disposition", 'attachment; filename="field.html"')
            self.send_header("Content-Length", str(len(data)))
            self.end_headers()
            return True

        def log_message(self, *_: Any) -> None:
            """Nothing: who fetched the page is told by `told`."""

    server = ThreadingHTTPServer((address, port), OnePage)
    server.daemon_threads = True
    return server


def code_in_terminal(text: str) -> str:
    """A text as a code for a telephone's camera (ISO/IEC 18004), two rows of it to a line.

    Light is drawn, dark left: on a dark terminal it is as printed, on a light one reversed.
    """
    import segno

    rows = [list(row) for row in segno.make_qr(text, error="m").matrix_iter(border=2)]
    rows += [[0] * len(rows[0])] * (len(rows) % 2)
    # No dark, the lower, the upper, both.
    drawn = {(0, 0): "█", (0, 1): "▀", (1, 0): "▄", (1, 1): " "}
    return "\n".join(
        "".join(drawn[bool(up), bool(low)] for up, low in zip(above, below, strict=True))
        for above, below in zip(rows[::2], rows[1::2], strict=True)
    )
