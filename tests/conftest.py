"""Fixtures that every folder shares."""

from __future__ import annotations

import os
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def samples() -> Path:
    """The folder of real reports; tests that need it skip where ``BREWWATER_SAMPLES`` does not name it."""
    place = os.environ.get("BREWWATER_SAMPLES")
    if not place or not Path(place).is_dir():
        pytest.skip("BREWWATER_SAMPLES names no folder of real reports")
    return Path(place)
