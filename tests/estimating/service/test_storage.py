"""Files are whole or not there, also where a process is killed in the middle of one."""

import os
import signal
import subprocess
import sys
import textwrap
import time

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import FileSystemStorage, default_storage

from estimating.service.storage import WholeFileStorage

SLOW = """
import sys, time
from django.core.files.base import ContentFile
import django; django.setup()
from {module} import {storage}

class Slow(ContentFile):
    def chunks(self, chunk_size=None):
        yield b"a" * 100
        print("half", flush=True)
        time.sleep(60)
        yield b"b" * 100

{storage}(location=sys.argv[1]).save("papers/ab/paper", Slow(b""))
"""


def kill_in_the_middle(folder, kind) -> None:
    code = textwrap.dedent(SLOW).format(module=kind.__module__, storage=kind.__name__)
    process = subprocess.Popen([sys.executable, "-c", code, str(folder)], stdout=subprocess.PIPE, text=True,
                               env=os.environ | {"DJANGO_SETTINGS_MODULE": "tests.settings"})
    assert process.stdout.readline() == "half\n"
    time.sleep(0.1)
    process.send_signal(signal.SIGKILL)
    process.wait()


def test_a_process_that_is_killed_leaves_no_half_file_under_its_name(tmp_path):
    kill_in_the_middle(tmp_path, WholeFileStorage)
    storage = WholeFileStorage(location=tmp_path)
    assert not storage.exists("papers/ab/paper")
    assert storage.save("papers/ab/paper", ContentFile(b"whole")) == "papers/ab/paper"
    assert (tmp_path / "papers/ab/paper").read_bytes() == b"whole"


def test_the_frameworks_own_storage_leaves_one(tmp_path):
    kill_in_the_middle(tmp_path, FileSystemStorage)
    assert FileSystemStorage(location=tmp_path).exists("papers/ab/paper")


def test_a_write_that_fails_leaves_nothing(tmp_path):
    class Broken(ContentFile):
        def chunks(self, chunk_size=None):
            yield b"a"
            raise OSError("no space left")

    with pytest.raises(OSError, match="no space"):
        WholeFileStorage(location=tmp_path).save("papers/ab/paper", Broken(b""))
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


def test_papers_and_what_is_handed_in_are_kept_so():
    assert isinstance(default_storage, WholeFileStorage)
