"""Tests of what is handed in: told by its bytes, given back as it was and never shown, removed when erased."""

import io
import zipfile

import pytest
from django.core.files.storage import default_storage
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from estimating import files
from estimating.models import Customer, Job, StoredFile

API = "/api/v1"
GOOD = {
    "image/jpeg": b"\xff\xd8\xff\xe0\x00\x10JFIF",
    "image/png": b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR",
    "image/gif": b"GIF89a\x01\x00\x01\x00",
    "image/webp": b"RIFF\x24\x00\x00\x00WEBPVP8 ",
    "image/heic": b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00",
    "image/tiff": b"II*\x00\x08\x00\x00\x00",
    "application/pdf": b"%PDF-1.7\n",
}
ARCHIVE = io.BytesIO()
with zipfile.ZipFile(ARCHIVE, "w") as archive:
    archive.writestr("photo.jpg", GOOD["image/jpeg"])
BAD = {
    "HTML": b"<!doctype html><script>alert(1)</script>",
    "HTML that calls itself a PDF further down": b"<html>%PDF-1.7",
    "SVG": b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>",
    "XML": b"<?xml version='1.0'?><svg/>",
    "a Windows program": b"MZ\x90\x00\x03",
    "a Linux program": b"\x7fELF\x02\x01\x01",
    "a script": b"#!/bin/sh\necho",
    "a zip": ARCHIVE.getvalue(),
    "text": b"call the roofer",
    "a wave file": b"RIFF\x24\x00\x00\x00WAVEfmt ",
    "a film": b"\x00\x00\x00\x18ftypmp42",
    "the beginning of a picture": b"\x89PN",
    "a PDF without a version": b"%PDF-\n",
}


@pytest.fixture
def job(db) -> Job:
    now = timezone.now()
    return Job.objects.create(customer=Customer.objects.create(name="A", created_at=now), name="T", created_at=now)


@pytest.fixture(autouse=True)
def _storage_of_its_own(settings, tmp_path) -> None:
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def desk(estimator, as_user):
    return as_user(estimator)


def hand_in(client, content, query, media_type="application/octet-stream", **headers):
    return client.generic("POST", f"{API}/files?{query}", content, content_type=media_type, **headers)


@pytest.mark.parametrize(("media_type", "content"), GOOD.items(), ids=GOOD)
def test_a_kind_is_told_by_the_bytes_and_given_back_as_it_was(desk, job, media_type, content):
    made = hand_in(desk, content, f"job={job.pk}&kind=photo&name=roof.exe", "text/html")
    assert made.status_code == 201, made.content
    body = made.json()
    assert body["media_type"] == media_type and body["size"] == len(content) and body["by"] == "estimator"
    assert body["name"] == f"roof.exe.{files.ENDINGS[media_type][0]}"
    assert made["Location"] == f"{API}/files/{body['id']}"
    back = desk.get(body["url"])
    assert back.content == content and back["Content-Type"] == media_type
    assert back["Content-Disposition"].startswith("attachment") and back["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in back["Content-Security-Policy"]


@pytest.mark.parametrize("content", BAD.values(), ids=BAD)
@pytest.mark.parametrize("media_type", ["image/png", "application/octet-stream"])
def test_what_could_run_or_is_no_picture_is_refused_and_not_kept(desk, job, content, media_type):
    refused = hand_in(desk, content, f"job={job.pk}&name=photo.png", media_type)
    assert refused.status_code == 415 and "image/jpeg" in refused.json()["detail"]
    assert not StoredFile.objects.exists()


def test_a_file_at_the_limit_is_taken_and_one_byte_more_is_not(desk, job, settings):
    settings.FILE_BYTES = 100
    fits = GOOD["image/png"].ljust(100, b"\0")
    assert hand_in(desk, fits, f"job={job.pk}").status_code == 201
    assert hand_in(desk, fits + b"\0", f"job={job.pk}").status_code == 413
    assert hand_in(desk, b"", f"job={job.pk}").status_code == 422
    assert StoredFile.objects.count() == 1


@pytest.mark.parametrize(
    ("query", "at"),
    [("", "/job"), ("job=1&customer=1", None), ("job=999999", "/job"), ("job=x", "/job"),
     ("job={job}&kind=film", "/kind"), ("job={job}&colour=blue", "/colour"),
     ("job={job}&name=" + "n" * 1001, "/name")],
)  # fmt: skip
def test_a_file_of_nobody_or_of_two_is_refused(desk, job, query, at):
    refused = hand_in(desk, GOOD["image/png"], query.format(job=job.pk))
    assert refused.status_code == 422
    assert at is None or [fault["pointer"] for fault in refused.json()["errors"]] == [at]
    assert not StoredFile.objects.exists()


def test_a_retry_keeps_one_row_and_equal_bytes_are_stored_once(desk, job):
    for _ in range(2):
        assert hand_in(desk, GOOD["image/png"], f"job={job.pk}", HTTP_IDEMPOTENCY_KEY="k").status_code == 201
    assert StoredFile.objects.count() == 1
    hand_in(desk, GOOD["image/png"], f"job={job.pk}")
    assert len({row.path for row in StoredFile.objects.all()}) == 1 and StoredFile.objects.count() == 2


def test_one_of_two_rows_on_the_same_bytes_is_erased_and_the_other_still_reads(
    api, job, django_capture_on_commit_callbacks
):
    one, other = (hand_in(api, GOOD["image/png"], f"job={job.pk}").json()["id"] for _ in range(2))
    with django_capture_on_commit_callbacks(execute=True):
        erased = api.post(f"{API}/files/{one}/erase").json()
    assert erased["name"] == "" and erased["url"] is None and erased["sha256"]
    assert api.get(f"{API}/files/{one}/content").status_code == 410
    assert api.get(f"{API}/files/{other}/content").content == GOOD["image/png"]
    with django_capture_on_commit_callbacks(execute=True):
        api.post(f"{API}/files/{other}/erase")
    assert not default_storage.exists(StoredFile.objects.last().path)


def test_bytes_left_behind_by_a_process_that_ended_are_removed_by_the_sweep(job):
    now = timezone.now()
    row = files.keep_file(GOOD["image/gif"], name="", kind="photo", job=job, by=None, now=now)
    row.erase(now)  # and nothing after the commit
    assert default_storage.exists(row.path)
    files.remove_erased(now)
    assert not default_storage.exists(row.path)


def test_bytes_that_changed_in_the_storage_are_not_given_out(api, job):
    row = files.keep_file(GOOD["image/gif"], name="", kind="photo", job=job, by=None, now=timezone.now())
    default_storage.delete(row.path)
    assert api.get(f"{API}/files/{row.pk}/content").status_code == 410
    with default_storage.open(row.path, "wb") as stored:
        stored.write(b"<script>")
    answer = api.get(f"{API}/files/{row.pk}/content")
    assert answer.status_code == 410 and b"<script>" not in answer.content
    default_storage.delete(row.path)


def test_the_crew_sees_photos_of_jobs_and_nothing_else(desk, crew, reader, stranger, as_user, job):
    photo = hand_in(desk, GOOD["image/png"], f"job={job.pk}&kind=photo").json()["id"]
    consent = hand_in(desk, GOOD["application/pdf"], f"job={job.pk}&kind=consent").json()["id"]
    hand_in(desk, GOOD["image/png"], f"customer={job.customer_id}&kind=photo")
    hands = as_user(crew)
    assert [row["id"] for row in hands.get(f"{API}/files").json()["results"]] == [photo]
    assert hands.get(f"{API}/files/{photo}/content").status_code == 200
    assert hands.get(f"{API}/files/{consent}/content").status_code == 404
    assert hand_in(hands, GOOD["image/png"], f"job={job.pk}").status_code == 403
    assert len(as_user(reader).get(f"{API}/files").json()["results"]) == 3
    assert stranger.get(f"{API}/files/{photo}/content").status_code == 401
    assert desk.post(f"{API}/files/{photo}/erase").status_code == 403


def test_a_list_takes_no_more_queries_for_more_files(api, job, django_assert_max_num_queries):
    for _ in range(20):
        files.keep_file(GOOD["image/png"], name="", kind="photo", job=job, by=None, now=timezone.now())
    with django_assert_max_num_queries(6):
        assert len(api.get(f"{API}/files?job={job.pk}").json()["results"]) == 20


@pytest.mark.parametrize(
    ("name", "clean"),
    [
        ("roof.jpg", "roof.jpg"), ("../../etc/passwd", "passwd.jpg"), ("C:\\photos\\Dach.JPG", "Dach.JPG"),
        ("a\u202egpj.exe", "agpj.exe.jpg"), ("", "file.jpg"), (".htaccess", "htaccess.jpg"), ("a\r\nb.jpg", "ab.jpg"),
        ("n" * 500 + ".jpg", "n" * 116 + ".jpg"), ("Toiture n°4 – été.jpeg", "Toiture n°4 – été.jpeg"),
        ("..", "file.jpg"),
    ],
)  # fmt: skip
def test_a_name_is_cleaned(name, clean):
    assert files.clean_name(name, "image/jpeg") == clean


@given(st.text(max_size=300), st.sampled_from(sorted(files.ENDINGS)))
def test_a_cleaned_name_is_safe_and_stays_as_it_is(name, media_type):
    clean = files.clean_name(name, media_type)
    assert files.clean_name(clean, media_type) == clean
    assert 0 < len(clean) <= files.LONGEST_NAME and not set(clean) & set('/\\<>:"|?*\r\n\0') and clean[0] != "."
    assert clean.rpartition(".")[2].lower() in files.ENDINGS[media_type]
