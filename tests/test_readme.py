"""The README's own lines, run as they stand against a service of its own."""

import os
import re
import socket
import subprocess
import sys
import time
import urllib.request
from email import message_from_bytes, policy
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text()
PASSWORD = "terrace-Ladder-42"


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


@pytest.fixture
def service(tmp_path):
    """Web and background work as `./run serve` starts them, on a database and a folder of their own."""
    port = free_port()
    env = {k: v for k, v in os.environ.items() if k not in ("DJANGO_SETTINGS_MODULE", "REDIS_URL", "DEBUG")} | {
        "DATABASE_URL": f"sqlite:///{tmp_path / 'readme.sqlite3'}", "FILES": str(tmp_path / "files"), "DEBUG": "1",
        "ALLOWED_HOSTS": "127.0.0.1", "SITE_URL": f"http://127.0.0.1:{port}",
    }
    manage = [sys.executable, str(ROOT / "manage.py")]
    subprocess.run([*manage, "migrate", "--noinput", "-v0"], env=env, check=True)
    subprocess.run([*manage, "first_user", "--username", "owner"], env=env, check=True, input=PASSWORD, text=True)
    log = (tmp_path / "log").open("w")
    started = [
        subprocess.Popen([sys.executable, "-m", "gunicorn", "estimating.config.wsgi", "--bind", f"127.0.0.1:{port}",
                          "--workers", "1"], env=env, cwd=ROOT, stdout=log, stderr=log),
        subprocess.Popen([*manage, "sweep", "--watch"], env=env, cwd=ROOT, stdout=log, stderr=log),
    ]
    try:
        for _ in range(120):
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=2)
                break
            except OSError:
                time.sleep(0.25)
        else:
            pytest.fail((tmp_path / "log").read_text()[-2000:])
        yield port
    finally:
        for process in started:
            process.terminate()
        for process in started:
            process.wait(20)


def test_the_lines_from_token_to_pdf_work_as_written(service, tmp_path):
    (block,) = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    lines = block.replace("127.0.0.1:8000", f"127.0.0.1:{service}")
    (tmp_path / "quotes").symlink_to(ROOT / "quotes")
    done = subprocess.run(["bash", "-euo", "pipefail", "-c", lines], cwd=tmp_path, text=True, capture_output=True,
                          env={**os.environ, "PASSWORD": PASSWORD}, timeout=180)
    assert done.returncode == 0, done.stderr[-3000:]
    assert (tmp_path / "proposal.pdf").read_bytes().startswith(b"%PDF")
    assert '"deck-framing/1"' in (tmp_path / "framing.json").read_text()
    assert (tmp_path / "plan.svg").read_text().startswith("<svg")
    [kept] = (tmp_path / "files" / "mail").glob("*.eml")
    mail = message_from_bytes(kept.read_bytes(), policy=policy.SMTP)
    [link] = re.findall(r"http://\S+/proposal/\S+", mail.get_body(("plain",)).get_content())
    page = urllib.request.urlopen(link, timeout=20).read().decode()
    assert "Odette Marlowe" in page and "418 Fictional Quay" in page


def test_the_frame_command_works_as_written(tmp_path):
    (line,) = re.findall(r"manage\.py (frame .*) --out", README)
    done = subprocess.run([sys.executable, "manage.py", *line.split(), "--out", str(tmp_path)], cwd=ROOT,
                          env={**os.environ, "DEBUG": "1"}, text=True, capture_output=True, timeout=120)
    assert done.returncode == 0, done.stderr
    assert {"framing.json", "plan.svg", "section.svg", "cut-sheets.pdf"} <= {p.name for p in tmp_path.iterdir()}
