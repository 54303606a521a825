"""What the web server itself refuses, before any view: a problem document, as all that is refused."""

from __future__ import annotations

import json
import socket
from http import HTTPStatus

from django.utils.translation import gettext as _
from gunicorn import util

from orchard.api import problems
from orchard.api.refusals import Fault


def refuse(sock: socket.socket, status: int, reason: str, words: str) -> None:
    """Write the answer to what cannot be read as a request, in the place of the server's own page.

    :param reason: the server's phrase for the status
    :param words: the server's sentence, which repeats what was sent: it is left out
    """
    body = json.dumps(problems.document(status, [_fault(status)])).encode()
    head = (
        f"HTTP/1.1 {status} {HTTPStatus(status).phrase}\r\nConnection: close\r\n"
        f"Content-Type: {problems.CONTENT_TYPE}\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    util.write_nonblock(sock, head.encode("latin-1") + body)


def _fault(status: int) -> Fault:
    if status == 414:
        return Fault("too_large", _("the address is longer than 8,190 bytes: ask for less in one request"))
    if status == 431:
        return Fault("too_large", _("more than 100 headers, or one longer than 8,190 bytes: send less"))
    if status >= 500 and status != 501:
        return Fault("broken", _("this is our fault: it has been written down"))
    return Fault("invalid", _("this is no HTTP request that can be read: look at its first line and headers"))
