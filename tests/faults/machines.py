"""The machines of an office, each a process of its own that can be killed at any moment and comes back."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import psycopg
import redis

ROOT = Path(__file__).resolve().parents[2]
PATIENCE = 120  # s until a machine answers, on a busy computer
POSTGRESQL = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: float(path.parent.name))


class Machine:
    """A process with all that it starts. `answers` says whether it does its work; kills are kept with their moment."""

    def __init__(self, name: str, command: Sequence[str], env: dict[str, str], log: Path,
                 answers: Callable[[], bool] = lambda: True, user: str | None = None) -> None:
        self.name, self.command, self.env, self.log, self.answers = name, list(command), env, log, answers
        self.user = {"user": user, "group": user, "extra_groups": []} if user else {}
        self.process: subprocess.Popen[bytes] | None = None
        self.kills: list[float] = []
        self.down: list[tuple[float, float]] = []  # from a kill until it answered again
        self._fell: float | None = None

    def start(self) -> None:
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(self.command, cwd=ROOT, env=self.env, stdout=log, stderr=log,
                                            start_new_session=True, **self.user)

    def kill(self, *, a_child: bool = False) -> bool:
        """kill -9: of it all, or of one of its children only. False where there is nothing to kill."""
        if self.process is None or self.process.poll() is not None:
            return False
        family = [self.process.pid, *descendants(self.process.pid)]
        if a_child and len(family) < 2:
            return False
        now = time.time()
        for pid in family[-1:] if a_child else family:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        self.kills.append(now)
        if not a_child:
            self._fell = now if self._fell is None else self._fell
            self.process.wait()
        return True

    def see_to(self) -> None:
        """Start it again where it does not run, as a supervisor would; note since when it answers."""
        if self.process is None or self.process.poll() is not None:
            self._fell = time.time() if self._fell is None else self._fell
            self.start()
        elif self._fell is not None and self.answers():
            self.down.append((self._fell, time.time()))
            self._fell = None

    def was_down(self, start: float, end: float) -> bool:
        return any(fell < end and back > start for fell, back in self.down) or bool(
            self._fell is not None and self._fell < end)

    def wait(self) -> None:
        deadline = time.monotonic() + PATIENCE
        while not self.answers():
            if time.monotonic() > deadline or self.process is None:
                raise RuntimeError(f"{self.name} does not answer; its last words: {self.log.read_text()[-2000:]}")
            if self.process.poll() is not None:
                raise RuntimeError(f"{self.name} ended; its last words: {self.log.read_text()[-2000:]}")
            time.sleep(0.1)


def descendants(pid: int) -> list[int]:
    """The processes that a process has started, and these again; the newest last."""
    children: dict[int, list[int]] = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = int(stat.read_text().rpartition(")")[2].split()[1])
        except (OSError, ValueError):
            continue
        children.setdefault(parent, []).append(int(stat.parent.name))
    found: list[int] = []
    todo = [pid]
    while todo:
        new = sorted(children.get(todo.pop(), []))
        found += new
        todo += new
    return found


class Office:
    """A whole installation on this computer, in a folder of its own, on ports of its own, with nothing shared."""

    def __init__(self, folder: Path, *, workers: int = 2, lease: int = 4, pause: float = 0) -> None:
        self.folder = folder
        self.ports = dict(zip(("postgresql", "redis", "mail", "web"), free_ports(4), strict=True))
        self.url = f"http://127.0.0.1:{self.ports['web']}"
        self.taken = folder / "taken"  # what the mail server took
        for name in ("taken", "files", "static", "log"):
            (folder / name).mkdir()
        self.env = {name: os.environ[name] for name in ("PATH", "HOME", "LANG", "LD_LIBRARY_PATH")
                    if name in os.environ} | {
            "SECRET_KEY": "for these tests only and for nothing else " * 2, "DEBUG": "0", "HTTPS": "0",
            "ALLOWED_HOSTS": "127.0.0.1", "SITE_URL": "https://quotes.example.com",
            "DATABASE_URL": f"postgresql://postgres@127.0.0.1:{self.ports['postgresql']}/office",
            "REDIS_URL": f"redis://127.0.0.1:{self.ports['redis']}/0",
            "MAIL_URL": f"smtp://127.0.0.1:{self.ports['mail']}?tls=none",
            "FILES": str(folder / "files"), "STATIC_ROOT": str(folder / "static"),
            "RUN_LEASE_SECONDS": str(lease), "MAIL_RETRY_SECONDS": "1", "REQUESTS_PER_MINUTE": "100000",
            "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "PYTHONUNBUFFERED": "1",
            "DJANGO_SETTINGS_MODULE": "estimating.config.settings",
        }
        python = sys.executable
        celery = [python, "-m", "celery", "-A", "estimating.config"]
        self.stores = [self._postgresql(), self._redis(), self._machine(
            "mail server", [python, "-m", "tests.faults.mail_server", str(self.ports["mail"]), str(self.taken),
                            str(pause)],
            lambda: connects(self.ports["mail"]))]
        self.workers = [
            self._machine(f"worker {n}", [*celery, "worker", "-Q", "compute,render,mail,sync", "-c", "1", "-n",
                                          f"worker{n}@office", "--loglevel", "warning", "--without-gossip",
                                          "--without-mingle"])
            for n in range(1, workers + 1)
        ]
        self.web = self._machine("web", [python, "-m", "gunicorn", "estimating.config.wsgi", "--bind",
                                         f"127.0.0.1:{self.ports['web']}", "--workers", "1", "--threads", "2"],
                                 lambda: says_ok(f"{self.url}/healthz"))
        self.beat = self._machine("beat", [*celery, "beat", "--schedule", str(folder / "beat"), "--pidfile=",
                                           "--loglevel", "warning"])

    @property
    def machines(self) -> list[Machine]:
        return [*self.stores, *self.workers, self.web, self.beat]

    def __getitem__(self, name: str) -> Machine:
        return next(machine for machine in self.machines if machine.name == name)

    def _machine(self, name: str, command: Sequence[str], answers: Callable[[], bool] = lambda: True,
                 user: str | None = None) -> Machine:
        return Machine(name, command, self.env, self.folder / "log" / name.replace(" ", "-"), answers, user)

    def _postgresql(self) -> Machine:
        """A cluster of its own that writes through to the disk; not by root, whom PostgreSQL refuses."""
        if not POSTGRESQL:
            raise RuntimeError("there is no PostgreSQL server on this computer (under /usr/lib/postgresql)")
        user = "postgres" if os.geteuid() == 0 else None
        data, port = self.folder / "cluster", str(self.ports["postgresql"])
        data.mkdir(mode=0o700)
        if user:
            os.chown(data, pwd.getpwnam(user).pw_uid, pwd.getpwnam(user).pw_gid)
        as_user = {"user": user, "group": user, "extra_groups": []} if user else {}
        subprocess.run([POSTGRESQL[-1] / "initdb", "-D", data, "-U", "postgres", "--auth", "trust", "-E", "UTF8",
                        "--no-locale", "--no-sync"], check=True, capture_output=True, cwd="/", **as_user)
        durable = ["-c", "fsync=on", "-c", "synchronous_commit=on", "-c", "full_page_writes=on"]
        machine = self._machine("postgresql", [str(POSTGRESQL[-1] / "postgres"), "-D", str(data), "-p", port, "-k", "",
                                               "-c", "listen_addresses=127.0.0.1", "-c", "shared_buffers=32MB",
                                               *durable], lambda: has_database(port), user)
        machine.log.touch()
        machine.log.chmod(0o666)
        return machine

    def _redis(self) -> Machine:
        """One that keeps nothing: to lose everything in it is the point."""
        port = self.ports["redis"]
        server = shutil.which("redis-server")
        if server is None:
            raise RuntimeError("there is no redis-server on this computer")
        return self._machine("redis", [server, "--port", str(port), "--bind", "127.0.0.1", "--save", "",
                                       "--appendonly", "no", "--dir", str(self.folder)], lambda: pings(port))

    def start_stores(self) -> None:
        for machine in self.stores:
            machine.start()
        for machine in self.stores:
            machine.wait()
        with psycopg.connect(f"postgresql://postgres@127.0.0.1:{self.ports['postgresql']}/postgres",
                             autocommit=True) as connection:
            connection.execute("CREATE DATABASE office")

    def start_rest(self) -> None:
        for machine in (*self.workers, self.web, self.beat):
            machine.start()
        self.web.wait()

    def see_to_all(self) -> None:
        for machine in self.machines:
            machine.see_to()

    def stop(self) -> None:
        for machine in reversed(self.machines):
            machine.kill()


@contextmanager
def an_office(**more: Any) -> Iterator[Office]:
    """An installation in a folder that goes with it. The kept logs are shown where something goes wrong."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # whoever ends this ends what it started
    folder = Path(tempfile.mkdtemp(prefix="office-"))
    folder.chmod(0o755)
    office = Office(folder, **more)
    try:
        yield office
    except BaseException:
        for log in sorted((folder / "log").iterdir()):
            print(f"--- {log.name}: {log.read_text(errors='replace')[-3000:]}", file=sys.stderr)
        raise
    finally:
        office.stop()
        shutil.rmtree(folder, ignore_errors=True)


def free_ports(count: int) -> list[int]:
    sockets = [socket.socket() for _ in range(count)]
    try:
        for one in sockets:
            one.bind(("127.0.0.1", 0))
        return [one.getsockname()[1] for one in sockets]
    finally:
        for one in sockets:
            one.close()


def connects(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), 2).close()
        return True
    except OSError:
        return False


def pings(port: int) -> bool:
    try:
        return bool(redis.Redis(port=port, socket_connect_timeout=2, socket_timeout=2).ping())
    except redis.RedisError:
        return False


def has_database(port: str) -> bool:
    try:
        psycopg.connect(f"postgresql://postgres@127.0.0.1:{port}/postgres", connect_timeout=2).close()
        return True
    except psycopg.OperationalError:
        return False


def says_ok(url: str) -> bool:
    try:
        with urllib.request.urlopen(url, timeout=5) as answer:
            return answer.status == 200
    except (urllib.error.URLError, OSError):
        return False
