"""The invented terrace, issued once for a test: set up from the demo's own documents, prices and rates."""

import functools
import json

import pytest

from framing import records
from framing.engine.design import frame
from quotes import demonstration


@functools.cache
def _framed(survey: str, build: str):
    return frame(json.loads(survey), json.loads(build))


@pytest.fixture
def framed_once(monkeypatch):
    """The engine answers each question once for all tests; the answer is its own."""
    monkeypatch.setattr(records, "frame", lambda survey, build: _framed(json.dumps(survey), json.dumps(build)))


@pytest.fixture
def scenario(db, framed_once) -> demonstration.Scenario:
    return demonstration.set_up()
