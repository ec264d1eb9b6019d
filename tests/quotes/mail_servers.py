"""Real mail servers for the tests, each in a thread: what they say to a message can be set, what they took is kept."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, Envelope

OK = "250 taken"
DROP = "drop"  # the connection breaks off after the message has been taken, before any answer


class Server:
    """`says` answers each message, given how many came before; `taken` are the messages that were kept."""

    def __init__(self, says: Callable[[int], str] = lambda nth: OK, to_recipient: str = "") -> None:
        self.says, self.to_recipient = says, to_recipient
        self.seen: list[Envelope] = []
        self.taken: list[Envelope] = []
        self.port = free_port()

    async def handle_RCPT(self, server: Any, session: Any, envelope: Envelope, address: str, options: Any) -> str:
        if self.to_recipient:
            return self.to_recipient
        envelope.rcpt_tos.append(address)
        return OK

    async def handle_DATA(self, server: Any, session: Any, envelope: Envelope) -> str:
        answer = self.says(len(self.seen))
        self.seen.append(envelope)
        if answer in (OK, DROP):
            self.taken.append(envelope)
        if answer == DROP:
            server.transport.abort()
        return answer


CERTIFICATE = Path(__file__).parent / "fixtures" / "mail-server.pem"  # of 127.0.0.1, signed by itself, with its key


@contextmanager
def serving(server: Server, *, tls: str = "none", password: str = "") -> Iterator[Server]:
    """The server while the block lasts: in the clear, by STARTTLS or by TLS from the first byte; with log-in or not."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(CERTIFICATE)
    more: dict[str, Any] = {"ssl_context": context} if tls == "tls" else {}
    if tls == "starttls":
        more |= {"tls_context": context, "require_starttls": True}
    if password:
        def known(server: Any, session: Any, envelope: Any, mechanism: str, data: Any) -> AuthResult:
            return AuthResult(success=data.password == password.encode(), handled=False)

        more |= {"authenticator": known, "auth_required": True, "auth_require_tls": tls == "starttls"}
    controller = Controller(server, hostname="127.0.0.1", port=server.port, data_size_limit=50_000_000, **more)
    controller.start()
    try:
        yield server
    finally:
        controller.stop()


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]
