"""Fixtures that every folder shares."""

from __future__ import annotations

import importlib.util
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest


@pytest.fixture(scope="session")
def samples() -> Path:
    """The folder of real reports; tests that need it skip where ``BREWWATER_SAMPLES`` does not name it."""
    place = os.environ.get("BREWWATER_SAMPLES")
    if not place or not Path(place).is_dir():
        pytest.skip("BREWWATER_SAMPLES names no folder of real reports")
    return Path(place)


# -- the real browser


def _browser_module() -> ModuleType:
    place = Path(__file__).parent / "app" / "browser.py"
    spec = importlib.util.spec_from_file_location("tests_app_browser", place)
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = made
    spec.loader.exec_module(made)
    return made


@pytest.fixture(scope="session")
def kit() -> ModuleType:
    """``app/browser.py``; skips where there is no Chromium, fails where one is required."""
    made = _browser_module()
    if made.chromium() is None:
        if made.required():
            pytest.fail("BREWWATER_REQUIRE_BROWSER is 1, and no chromium is on the PATH")
        pytest.skip("no chromium on the PATH")
    return made


@pytest.fixture(scope="session")
def chromium(kit: ModuleType) -> Iterator[Any]:
    """One Chromium for all browser tests of a process: a second one beside it cannot be driven."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = kit.launch(play)
        yield browser
        browser.close()
