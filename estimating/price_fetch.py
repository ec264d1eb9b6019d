"""Fetching a price list from its address: HTTPS to public hosts alone, within limits, and nothing known already.

Names are looked up here and the connection goes to the very address that was checked, so a name that changes its
address meanwhile leads nowhere; a redirect is checked as the first address was. What is on the office's own network is
fetched only where the settings name it.
"""

import http.client
import ipaddress
import socket
import ssl
import threading
import time
from collections.abc import Callable, Collection, Mapping
from contextlib import suppress
from dataclasses import dataclass
from urllib.parse import urljoin, urlsplit

from estimating.price_files import MOST_BYTES, PriceListError

MOST_REDIRECTS = 5
PATIENCE = 15.0  # s, to connect and between two pieces of an answer
WHOLE = 60.0  # s, for the whole of it
PIECE = 64_000  # bytes
ACCEPT = "text/csv, application/vnd.openxmlformats-officedocument.spreadsheetml.sheet, text/plain;q=0.8, */*;q=0.1"

Resolve = Callable[[str, int], list[str]]
Open = Callable[[str, str, int, str], http.client.HTTPConnection]  # scheme, host, port, checked address


class FetchFailed(PriceListError):
    """The list could not be fetched; the message says why, and nothing was changed."""


class AddressRefused(FetchFailed):
    """An address that is not fetched from."""


@dataclass(frozen=True)
class Fetched:
    """An answer. `content` is None where the file is as it was known."""

    content: bytes | None
    etag: str
    last_modified: str
    url: str


def addresses_of(host: str, port: int) -> list[str]:
    """The network addresses of a host. Raises FetchFailed."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise FetchFailed(f"{host} has no address: {error}") from None
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


def is_public(address: str) -> bool:
    """Whether a network address lies on the public internet, and nothing private is wrapped in it."""
    ip = ipaddress.ip_address(address.partition("%")[0])
    if isinstance(ip, ipaddress.IPv6Address):
        inner = ip.ipv4_mapped or ip.sixtofour or (ip.teredo[1] if ip.teredo else None)
        if inner is None and any(ip in net for net in _TRANSLATED):
            inner = ipaddress.IPv4Address(int(ip) & 0xFFFFFFFF)
        if inner is not None:
            return is_public(str(inner))
    return ip.is_global and not (ip.is_multicast or ip.is_reserved or ip.is_unspecified)


# RFC 6052 and RFC 8215: IPv4 addresses behind a translator stand in the last 32 bits.
_TRANSLATED = (ipaddress.ip_network("64:ff9b::/96"), ipaddress.ip_network("64:ff9b:1::/48"))


def check_url(url: str, own_hosts: Collection[str]) -> tuple[str, str, int]:
    """Scheme, host and port of an address that may be asked, as far as its text tells. Raises AddressRefused.

    `own_hosts` are hosts on the office's own network, each `name` or `name:port`; plain HTTP is for them alone.
    """
    if any(char <= " " or char == "\x7f" for char in url) or "\\" in url or len(url) > 500:
        raise AddressRefused(f"{url[:100]!r} was read; expected an address without blanks, of at most 500 characters")
    try:
        parts = urlsplit(url)
        host, port = (parts.hostname or "").rstrip("."), parts.port
    except ValueError:
        raise AddressRefused(f"{url[:100]!r} was read; expected https:// and a host") from None
    if parts.scheme not in ("http", "https") or not host:
        raise AddressRefused(f"{url[:100]!r} was read; expected https:// and a host")
    if parts.username is not None or parts.password is not None:
        raise AddressRefused("The address holds a name or password; name an authorization of the settings instead")
    port = port or (443 if parts.scheme == "https" else 80)
    if parts.scheme == "http" and not is_own(host, port, own_hosts):
        raise AddressRefused(f"{url[:100]!r} was read; expected https://")
    return parts.scheme, host, port


def is_own(host: str, port: int, own_hosts: Collection[str]) -> bool:
    """Whether the settings name this host as one of the office's own network."""
    named = f"[{host}]" if ":" in host else host
    return host in own_hosts or f"{named}:{port}" in own_hosts


def authorization_for(name: str, host: str, authorizations: Mapping[str, tuple[str, str]]) -> str:
    """The header behind a name of the settings, for the one host that it is meant for. Raises AddressRefused."""
    if not name:
        return ""
    if name not in authorizations:
        raise AddressRefused(f"The settings have no PRICE_AUTHORIZATION_{name}")
    meant, value = authorizations[name]
    if host != meant:
        raise AddressRefused(f"PRICE_AUTHORIZATION_{name} is for {meant}; it does not go to {host}")
    return value


def fetch(
    url: str, *, etag: str = "", last_modified: str = "", authorization: str = "",
    authorizations: Mapping[str, tuple[str, str]] | None = None, own_hosts: Collection[str] = (),
    resolve: Resolve = addresses_of, connect: Open | None = None, clock: Callable[[], float] = time.monotonic,
) -> Fetched:
    """Get the file at `url`, or word that it is as `etag` and `last_modified` know it.

    The authorization goes to its own host alone and never along a redirect to another. Raises AddressRefused, or
    FetchFailed for an answer other than a file within the limits of size and time.
    """
    connect = connect or open_connection
    deadline = clock() + WHOLE
    watch: threading.Timer | None = None
    header, first = "", ("", "", 0)
    for hop in range(MOST_REDIRECTS + 1):
        scheme, host, port = check_url(url, own_hosts)
        if hop == 0:
            first = scheme, host, port
            header = authorization_for(authorization, host, authorizations or {})
        address = _checked_address(host, port, own_hosts, resolve)
        headers = {"Accept": ACCEPT, "Accept-Encoding": "identity", "User-Agent": "price-lists/1"}
        if etag:
            headers["If-None-Match"] = etag
        if last_modified:
            headers["If-Modified-Since"] = last_modified
        if header and (scheme, host, port) == first:
            headers["Authorization"] = header
        connection = connect(scheme, host, port, address)
        parts = urlsplit(url)
        try:
            connection.connect()
            watch = _cut_off_at(connection, deadline - clock())
            connection.request("GET", (parts.path or "/") + (f"?{parts.query}" if parts.query else ""), headers=headers)
            answer = connection.getresponse()
            if answer.status in (301, 302, 303, 307, 308):
                url = _next_url(url, answer.getheader("Location"), scheme)
                continue
            tags = (answer.getheader("ETag") or "")[:200], (answer.getheader("Last-Modified") or "")[:100]
            if answer.status == 304 and (etag or last_modified):
                return Fetched(None, tags[0] or etag, tags[1] or last_modified, url)
            if answer.status != 200:
                raise FetchFailed(f"{host} answered {answer.status} {answer.reason[:60]}; expected a file")
            return Fetched(_body(answer, host, deadline, clock), *tags, url)
        except (OSError, http.client.HTTPException) as error:
            late = f" within {WHOLE:.0f} s" if clock() > deadline else ""
            told = f"{host} did not send the file{late}: {type(error).__name__} {error}"
            raise FetchFailed(told[:300].rstrip()) from None
        finally:
            if watch is not None:
                watch.cancel()
            connection.close()
    raise FetchFailed(f"More than {MOST_REDIRECTS} redirects")


def _cut_off_at(connection: http.client.HTTPConnection, seconds: float) -> threading.Timer:
    """Ends the connection when the time for the whole is over, however slowly its bytes keep coming."""
    sock = connection.sock

    def cut() -> None:
        with suppress(OSError):
            sock.shutdown(socket.SHUT_RDWR)

    timer = threading.Timer(max(0.0, seconds), cut)
    timer.daemon = True
    timer.start()
    return timer


def _checked_address(host: str, port: int, own_hosts: Collection[str], resolve: Resolve) -> str:
    addresses = resolve(host, port)
    if not addresses:
        raise FetchFailed(f"{host} has no address")
    if not is_own(host, port, own_hosts) and (inside := [address for address in addresses if not is_public(address)]):
        raise AddressRefused(f"{host} leads to {inside[0]}, which is not on the public internet")
    return addresses[0]


def _next_url(url: str, location: str | None, scheme: str) -> str:
    if not location:
        raise FetchFailed("The answer is a redirect without an address")
    target = urljoin(url, location)
    if scheme == "https" and not target.startswith("https://"):
        raise AddressRefused("The answer leads from https:// to an address without")
    return target


def _body(answer: http.client.HTTPResponse, host: str, deadline: float, clock: Callable[[], float]) -> bytes:
    """The answer's bytes, counted as they come."""
    if (answer.getheader("Content-Encoding") or "identity").lower() != "identity":
        raise FetchFailed(f"{host} sent the file packed, which was not asked for")
    length = answer.getheader("Content-Length") or ""
    if length.isascii() and length.isdigit() and int(length[:20]) > MOST_BYTES:
        raise FetchFailed(f"The file is {length[:20]} bytes long; at most {MOST_BYTES} are taken")
    pieces, size = [], 0
    while piece := answer.read1(PIECE):
        size += len(piece)
        if size > MOST_BYTES:
            raise FetchFailed(f"The file is longer than {MOST_BYTES} bytes, which is the most that is taken")
        if clock() > deadline:
            raise FetchFailed(f"{host} took longer than {WHOLE:.0f} s")
        pieces.append(piece)
    if clock() > deadline:  # the connection was cut off, which reads like an end
        raise FetchFailed(f"{host} took longer than {WHOLE:.0f} s")
    if length.isascii() and length.isdigit() and size != int(length):
        raise FetchFailed(f"{host} sent {size} of {length} bytes")
    return b"".join(pieces)


def open_connection(scheme: str, host: str, port: int, address: str) -> http.client.HTTPConnection:
    """A connection to the address that was checked, under the host's own name and certificate."""
    if scheme == "http":
        return _Pinned(host, port, address)
    return _PinnedTLS(host, port, address)


class _Pinned(http.client.HTTPConnection):
    def __init__(self, host: str, port: int, address: str) -> None:
        super().__init__(host, port, timeout=PATIENCE)
        self.address = address

    def connect(self) -> None:
        self.sock = socket.create_connection((self.address, self.port), self.timeout)


class _PinnedTLS(_Pinned):
    default_port = 443

    def connect(self) -> None:
        super().connect()
        self.sock = ssl.create_default_context().wrap_socket(self.sock, server_hostname=self.host)
