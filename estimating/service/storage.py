"""Files that are there whole or not at all, wherever a process is cut off while it writes one."""

import os
import tempfile
from pathlib import Path

from django.core.files import File
from django.core.files.storage import FileSystemStorage


def write_whole(path: Path, content: File) -> None:
    """Write a file beside its place and move it there, so that its name never stands for a part of it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, beside = tempfile.mkstemp(prefix=".", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            for chunk in content.chunks():
                file.write(chunk)
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, path)
    except BaseException:
        Path(beside).unlink(missing_ok=True)
        raise


class WholeFileStorage(FileSystemStorage):
    """The machine's disk. Names say what is in a file, by its hash: who writes one again writes the same."""

    def _save(self, name: str, content: File) -> str:
        write_whole(Path(self.path(name)), content)
        return name
