"""Killed at random moments, an office loses no proposal; here twenty kills, by the command as many as you like."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.worker
def test_of_twenty_kills_while_proposals_go_out_none_loses_or_alters_one():
    done = subprocess.run([sys.executable, "-m", "tests.faults.run_kills", "20"], cwd=ROOT, capture_output=True,
                          text=True, timeout=900)
    assert done.returncode == 0, done.stdout + done.stderr[-5000:]
    assert "every proposal arrived" in done.stdout
