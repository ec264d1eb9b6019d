"""Tests of the demo command: what it writes and prints, twice the same, and never into a real office's records."""

import io
import json

import pytest
from django.core.management import CommandError, call_command

from estimating.models import Office
from estimating.service import runs
from quotes.models import Quote, Revision

FILES = {"proposal.pdf", "office-copy.pdf", "cut-sheets.pdf", "material-list.pdf", "care-sheet.pdf",
         "purchase-list.csv", "framing.json", "plan.svg", "section.svg", "plan.dxf", "mail.eml"}


def run(folder) -> str:
    said = io.StringIO()
    call_command("demo", out=folder, stdout=said)
    return said.getvalue()


@pytest.mark.usefixtures("framed_once")
def test_the_demo_writes_its_papers_and_a_second_time_changes_nothing(db, tmp_path, monkeypatch):
    monkeypatch.setattr(runs, "BEAT", 600)  # a heartbeat would wait for the test's own transaction, and in vain
    first = run(tmp_path / "a")
    assert {path.name for path in (tmp_path / "a").iterdir()} == FILES
    assert json.loads((tmp_path / "a" / "framing.json").read_text())["format"] == "deck-framing/1"
    revision = Revision.objects.get()
    assert f"${revision.price:,.2f}" in first and "299.6 ft²" in first and str(tmp_path / "a") in first
    for word in ("joists:", "least clear gap:", "does not close:", "suspects:"):
        assert word in first
    second = run(tmp_path / "b")
    assert second.replace(str(tmp_path / "b"), "") == first.replace(str(tmp_path / "a"), "")
    assert Quote.objects.count() == Revision.objects.count() == 1
    for name in FILES:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_the_demo_does_not_mix_with_a_real_office(db, tmp_path):
    Office.objects.create(name="Real Roofs")
    with pytest.raises(CommandError, match="Real Roofs"):
        run(tmp_path)
    assert list(tmp_path.iterdir()) == []
