"""Photos and papers that somebody hands in: told by their bytes, kept under their hash, removed when erased."""

import hashlib
import re
import unicodedata
from datetime import datetime, timedelta

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction

from estimating.models import Customer, Job, StoredFile, User
from estimating.records import create_record
from estimating.service.history import note
from estimating.service.problems import refusal

# What is taken, by the first bytes, with the endings that its names may have. Nothing here can run in a browser or on
# a machine; drawings with script in them (SVG) and pages (HTML) are not taken.
ENDINGS = {
    "image/jpeg": ("jpg", "jpeg"), "image/png": ("png",), "image/gif": ("gif",), "image/webp": ("webp",),
    "image/heic": ("heic", "heif"), "image/tiff": ("tif", "tiff"), "application/pdf": ("pdf",),
}  # fmt: skip
_FIRST = [
    ("image/jpeg", re.compile(rb"\xff\xd8\xff")),
    ("image/png", re.compile(rb"\x89PNG\r\n\x1a\n")),
    ("image/gif", re.compile(rb"GIF8[79]a")),
    ("image/webp", re.compile(rb"RIFF.{4}WEBP", re.DOTALL)),
    ("image/heic", re.compile(rb".{4}ftyp(heic|heix|heim|heis|mif1|msf1)", re.DOTALL)),
    ("image/tiff", re.compile(rb"II\*\x00|MM\x00\*")),
    ("application/pdf", re.compile(rb"%PDF-\d\.\d")),
]  # fmt: skip
LONGEST_NAME = 120  # characters, the ending counted
LOOKED_AFTER = timedelta(days=2)


@refusal(415)
class KindNotTaken(Exception):
    """The bytes are none of the kinds that are taken, whatever the name says."""


@refusal(413)
class FileTooLarge(Exception):
    """The file is longer than the office takes."""


@refusal(422)
class FileEmpty(Exception):
    """There is nothing in the file."""


@refusal(410)
class FileGone(Exception):
    """The file was erased, or the storage has lost it."""


def sniff(content: bytes) -> str | None:
    """The media type that the first bytes tell, or None where they are nothing that is taken."""
    return next((media_type for media_type, first in _FIRST if first.match(content)), None)


def clean_name(name: str, media_type: str) -> str:
    """A name that is safe to save under on any machine, with an ending that fits what the file is."""
    name = unicodedata.normalize("NFC", name).replace("\\", "/").rpartition("/")[2]
    # Control and format characters go: some turn the reading direction, so that an ending seems another.
    name = "".join(" " if c in '<>:"|?*;%' else c for c in name if unicodedata.category(c)[0] != "C")
    name = " ".join(name.split()).strip(". ")
    stem, dot, ending = name.rpartition(".")
    if not dot or ending.lower() not in ENDINGS[media_type]:
        stem, ending = name, ENDINGS[media_type][0]
    stem = stem[: LONGEST_NAME - len(ending) - 1].strip(". ") or "file"
    return f"{stem}.{ending}"


def keep_file(content: bytes, *, name: str, kind: str, customer: Customer | None = None, job: Job | None = None,
              by: User | None, now: datetime) -> StoredFile:
    """Store a file of a customer or a job and its row. Raises FileEmpty, FileTooLarge, KindNotTaken, CustomerErased.

    Bytes that are stored for the customer already are not stored twice. Whoever stores or removes bytes of a customer
    holds the customer's row meanwhile, so that none are removed while another row comes to need them.
    """
    if not content:
        raise FileEmpty("The file is empty; expected the bytes of a photo or a PDF.")
    if len(content) > settings.FILE_BYTES:
        raise FileTooLarge(f"The file is {len(content):,} bytes long; at most {settings.FILE_BYTES:,} are taken.")
    media_type = sniff(content)
    if media_type is None:
        raise KindNotTaken("The bytes are no kind of file that is taken; expected one of " + ", ".join(ENDINGS) + ".")
    sha256 = hashlib.sha256(content).hexdigest()
    with transaction.atomic():
        owner = (customer or job.customer).pk
        Customer.objects.select_for_update().get(pk=owner)
        row = create_record(StoredFile, {
            "customer": customer, "job": job, "kind": kind, "name": clean_name(name, media_type), "sha256": sha256,
            "size": len(content), "media_type": media_type, "folder": owner,
        }, by=by, now=now)  # fmt: skip
        if not default_storage.exists(row.path):
            default_storage.save(row.path, ContentFile(content))
    return row


def read_file(row: StoredFile) -> bytes:
    """The bytes of a file. Raises FileGone."""
    if row.erased_at is not None:
        raise FileGone(f"File {row.pk} was erased on {row.erased_at:%Y-%m-%d}; its checksum is all that is kept.")
    try:
        with default_storage.open(row.path) as stored:
            content = stored.read()
    except FileNotFoundError:
        raise FileGone(f"File {row.pk} is no longer stored.") from None
    if hashlib.sha256(content).hexdigest() != row.sha256:
        raise FileGone(f"The stored bytes of file {row.pk} are not those that were handed in; its checksum differs.")
    return content


def erase_file(row: StoredFile, *, by: User | None, now: datetime) -> StoredFile:
    """Blank a file's name and remove its bytes once that is committed; row, size and checksum stay."""
    if row.erased_at is None:
        with transaction.atomic():
            row.erase(now)
            note(row, "erase", {}, by=by, now=now)
            transaction.on_commit(lambda: remove_bytes(row))
    return row


def remove_bytes(row: StoredFile) -> None:
    """Remove an erased file's bytes from the storage, unless another row of the same customer stands on them."""
    with transaction.atomic():
        Customer.objects.select_for_update().get(pk=row.folder)
        if not StoredFile.objects.filter(folder=row.folder, sha256=row.sha256, erased_at=None).exists():
            default_storage.delete(row.path)


def remove_erased(now: datetime) -> None:
    """Remove what was erased lately and is still stored, since a process may end between a commit and the removal."""
    for row in StoredFile.objects.filter(erased_at__gte=now - LOOKED_AFTER).iterator():
        if default_storage.exists(row.path):
            remove_bytes(row)
