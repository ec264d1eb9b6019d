"""The invented terrace, issued once for a module of tests: from the demo's own documents, prices and rates."""

import functools
import json
from collections.abc import Iterator

import pytest
from django.db import transaction

from framing import records
from framing.engine.design import frame
from quotes import demonstration
from quotes.paper.files import Paper, keep_papers
from tests.quotes.offered import offered


@functools.cache
def _framed(survey: str, build: str):
    return frame(json.loads(survey), json.loads(build))


@pytest.fixture
def framed_once(monkeypatch):
    """The engine answers each question once for all tests; the answer is its own."""
    monkeypatch.setattr(records, "frame", lambda survey, build: _framed(json.dumps(survey), json.dumps(build)))


@pytest.fixture(scope="module")
def _terrace(django_db_setup, django_db_blocker) -> Iterator[demonstration.Scenario]:
    """The terrace inside a transaction about all tests of a module; what each of them changes is undone after it."""
    about_all = transaction.atomic()
    with django_db_blocker.unblock(), pytest.MonkeyPatch.context() as patched:
        patched.setattr(records, "frame", lambda survey, build: _framed(json.dumps(survey), json.dumps(build)))
        about_all.__enter__()
        made = demonstration.set_up()
    yield made
    with django_db_blocker.unblock():
        transaction.set_rollback(True)
        about_all.__exit__(None, None, None)


@pytest.fixture
def scenario(_terrace, db, framed_once) -> demonstration.Scenario:
    """The terrace as nobody has touched it."""
    return demonstration.Scenario(*(type(row).objects.get(pk=row.pk) for row in (
        _terrace.job, _terrace.framing, _terrace.version, _terrace.revision)))


@pytest.fixture
def site(settings, tmp_path):
    """The installation as it is reached from outside; mail goes into a folder of the test's own."""
    settings.SITE_URL = "https://quotes.harrow-finch.example.com"
    settings.MAIL = {"folder": tmp_path / "mail"}
    return settings


PDF = b"%PDF-1.7\nnot much of a paper, but its own\n" + bytes(range(256)) * 20


@pytest.fixture
def offer(scenario, site):
    """The issued revision, offered to both owners; its proposal is stored already."""
    keep_papers(scenario.revision, {"proposal": Paper("application/pdf", PDF)}, now=demonstration.NOW)
    return offered(scenario.revision, second=True)
