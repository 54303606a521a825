"""Where a webhook may be sent: to public addresses over https, judged anew at each delivery.

A name that is public today can stand for a machine of ours tomorrow (DNS rebinding), so the connection goes
to the very address that was judged.
Source: OWASP API Security Top 10, API7:2023 Server Side Request Forgery, OWASP Foundation, 2023.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import urlsplit

from django.conf import settings
from django.utils.translation import gettext as _

HTTPS_PORT = 443
LONGEST_URL = 2000
EVERYWHERE = ipaddress.ip_network("2000::/3")
"""All that is routed publicly in IPv6; outside of it lie site-local addresses and IPv4 addresses in disguise.
Source: RFC 4291, IP Version 6 Addressing Architecture, IETF, 2006 (from memory).
"""
Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Resolve = Callable[[str, int], list[str]]
"""Returns the addresses that a name stands for now."""


class NotAllowed(Exception):
    """This address is not one to send to; the text says why."""


class Unresolved(Exception):
    """The name stands for no address just now."""


@dataclass(frozen=True, slots=True)
class Target:
    """A URL taken apart.

    :ivar path: with the query
    """

    host: str
    port: int
    path: str


def target(url: str) -> Target:
    """Take a URL apart.

    :raises NotAllowed: where it is not https, carries a name and password, or names a private address itself
    """
    try:
        parts = urlsplit(url)
        port = parts.port or HTTPS_PORT
    except ValueError:
        raise NotAllowed(_("this is no address: write it whole, as https://example.org/orchard")) from None
    if parts.scheme != "https" or not parts.hostname:
        raise NotAllowed(_("write an https address, such as https://example.org/orchard"))
    if parts.username is not None or parts.password is not None:
        raise NotAllowed(_("leave name and password out of the address: deliveries are signed"))
    if parts.fragment or not url.isascii() or len(url) > LONGEST_URL or any(c.isspace() for c in url):
        raise NotAllowed(
            _("write the address in ASCII without a fragment, %(most)s characters at most")
            % {"most": LONGEST_URL}
        )
    host = parts.hostname.rstrip(".")
    literal = _literal(host)
    if literal is not None:
        judge(literal)
    elif host == "localhost" or host.endswith((".localhost", ".local", ".internal")):
        raise NotAllowed(_("%(host)s is a machine of one's own network, not a public one") % {"host": host})
    return Target(host=host, port=port, path=(parts.path or "/") + (f"?{parts.query}" if parts.query else ""))


def public_address(host: str, port: int, *, resolve: Resolve) -> str:
    """Return an address that the name stands for now, all of them being public.

    :raises NotAllowed: where one of them is not
    :raises Unresolved: where there is none
    """
    literal = _literal(host)
    found = [literal] if literal is not None else [ipaddress.ip_address(one) for one in resolve(host, port)]
    if not found:
        raise Unresolved(f"{host} stands for no address")
    for address in found:
        judge(address)
    return str(found[0])


def judge(address: Address) -> None:
    """Let pass what is public, or in a network that the operator names in WEBHOOK_NETWORKS.

    :raises NotAllowed: for private, loopback, link-local, shared, reserved and multicast addresses
    """
    inner = getattr(address, "ipv4_mapped", None) or getattr(address, "sixtofour", None) or address
    if any(inner in ipaddress.ip_network(one) for one in settings.WEBHOOK_NETWORKS):
        return
    routed = inner.version == 4 or inner in EVERYWHERE
    if not routed or not inner.is_global or inner.is_multicast:
        raise NotAllowed(_("%(address)s is not a public address") % {"address": address})


def look_up(host: str, port: int) -> list[str]:
    """Return what the machine's resolver says of a name.

    :raises Unresolved: where it says nothing
    """
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as failure:
        raise Unresolved(f"{host} was not found: {failure}") from failure
    return [str(one[4][0]).partition("%")[0] for one in found]


def _literal(host: str) -> Address | None:
    """Return the address that a host is written as, in any of the forms that resolvers take (`127.1`)."""
    try:
        return ipaddress.ip_address(host)
    except ValueError:
        pass
    try:
        return ipaddress.IPv4Address(socket.inet_aton(host))
    except OSError:
        return None
