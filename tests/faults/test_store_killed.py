"""kill -9 at random moments of saves, log lines, restores and format changes: what was acknowledged is there, and the
store opens. ``BREWWATER_LONG=1`` kills 400 times on each database."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

ROUNDS = 400 if os.environ.get("BREWWATER_LONG") == "1" else 40
WORKER = Path(__file__).with_name("_store_worker.py")


def test_a_killed_writer_loses_nothing_acknowledged(store_url: str, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, str(WORKER), "kill", store_url, str(ROUNDS), "20261125", str(tmp_path / "acks")],
        capture_output=True,
        text=True,
        timeout=120 + 15 * ROUNDS,
    )
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    print(report)
    assert report["kills"] == ROUNDS
    assert report["saves"] > ROUNDS / 2  # the writers were really at work
    assert report["readings"] > ROUNDS / 2
    assert report["migrations"] >= ROUNDS / 4 - 1
    assert report["restores"] > 0
    assert report["lost"] == 0
