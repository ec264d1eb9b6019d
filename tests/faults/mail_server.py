"""A mail server that has a message on its disk before it says 250.

`python -m tests.faults.mail_server PORT FOLDER PAUSE`: it pauses as often as not, up to PAUSE seconds, before it writes
a message and before it answers, so that a kill finds every moment of it.
"""

from __future__ import annotations

import asyncio
import os
import random
import sys
import time
from pathlib import Path
from typing import Any

from aiosmtpd.smtp import SMTP, Envelope


class Keeper:
    """Keeps each message as a file named for the moment; the first line tells from whom and to whom."""

    def __init__(self, folder: Path, longest: float) -> None:
        self.folder, self.longest, self.count = folder, longest, 0

    async def pause(self) -> None:
        await asyncio.sleep(max(0.0, random.uniform(-self.longest, self.longest)))

    async def handle_DATA(self, server: Any, session: Any, envelope: Envelope) -> str:
        await self.pause()
        self.count += 1
        name = f"{time.time():.6f}-{os.getpid()}-{self.count}"
        part = self.folder / f".{name}.part"
        with part.open("wb") as file:
            file.write(f"{envelope.mail_from} {' '.join(envelope.rcpt_tos)}\n".encode() + bytes(envelope.content))
            file.flush()
            os.fsync(file.fileno())
        part.rename(self.folder / name)
        handle = os.open(self.folder, os.O_RDONLY)
        os.fsync(handle)
        os.close(handle)
        await self.pause()
        return "250 taken"


async def serve(port: int, folder: Path, longest: float) -> None:
    keeper = Keeper(folder, longest)
    server = await asyncio.get_running_loop().create_server(
        lambda: SMTP(keeper, hostname="mail.example.com"), "127.0.0.1", port)
    await server.serve_forever()


if __name__ == "__main__":
    asyncio.run(serve(int(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3])))
