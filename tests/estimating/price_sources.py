"""A supplier's server on this machine, and an import that a test kills while its rows go in."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
Answer = Callable[[BaseHTTPRequestHandler], None]


class Source:
    """What a server sends: `content` with its tag, or whatever `answer` does; and the requests that came."""

    def __init__(self, content: bytes = b"") -> None:
        self.content, self.etag, self.answer = content, '"1"', None
        self.asked: list[dict[str, str]] = []
        self.port = 0

    @property
    def host(self) -> str:
        return f"127.0.0.1:{self.port}"

    @property
    def url(self) -> str:
        return f"http://{self.host}/list.csv"


@contextmanager
def serving(source: Source) -> Iterator[Source]:
    """A server for `source` while the block lasts."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            source.asked.append({"path": self.path, **{name.lower(): value for name, value in self.headers.items()}})
            if source.answer is not None:
                source.answer(self)
                return
            same = self.headers.get("If-None-Match") == source.etag
            self.send_response(304 if same else 200)
            self.send_header("ETag", source.etag)
            if not same:
                self.send_header("Content-Length", str(len(source.content)))
            self.end_headers()
            if not same:
                self.wfile.write(source.content)

        def log_message(self, *args: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    source.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield source
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def database_url(entry: dict[str, Any]) -> str:
    """A DATABASE_URL for the database that a connection is at."""
    if "sqlite3" in entry["ENGINE"]:
        return f"sqlite:///{entry['NAME']}"
    return f"postgresql://{entry['USER']}:{entry['PASSWORD']}@{entry['HOST']}:{entry['PORT'] or 5432}/{entry['NAME']}"


def kill_half_way(run_id: int, entry: dict[str, Any], source: Source) -> None:
    """Have another process do a run, and kill it once half of its rows are on their way into the database."""
    env = os.environ | {
        "DJANGO_SETTINGS_MODULE": "tests.settings", "DATABASE_URL": database_url(entry), "PRICE_HOSTS": source.host,
    }  # fmt: skip
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.estimating.price_sources", str(run_id)], cwd=ROOT, env=env,
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert child.stdout is not None
    try:
        told = child.stdout.readline()
        assert told == "half way\n", told
    finally:
        child.send_signal(signal.SIGKILL)
        child.wait()
        child.stdout.close()


def main(run_id: int) -> None:
    """The process that is killed: does the run, and stands still once half of its rows are sent."""
    import time

    import django

    django.setup()
    from estimating import price_lists
    from estimating.service import runs

    values = price_lists._price_values

    def slowly(prices: Any, version: Any) -> Iterator[tuple]:
        for count, row in enumerate(values(prices, version)):
            if count == len(prices) // 2:
                print("half way", flush=True)
                time.sleep(600)
            yield row

    price_lists._price_values = slowly
    runs.perform(run_id)


if __name__ == "__main__":
    main(int(sys.argv[1]))
