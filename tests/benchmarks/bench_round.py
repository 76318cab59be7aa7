"""The page of the round over an invented fleet with a year of logs: ``python tests/benchmarks/bench_round.py [UNITS ...]``.

Served and measured in a real Chromium, 60 and 600 units by default: the first opening, on which every unit is planned
once, a second opening, and the time from pressing another number of weeks to the changed page. Nothing is asserted.
"""

from __future__ import annotations

import importlib.util
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from fleet import fleet, keep  # noqa: E402 (found by the line above)

from brewwater.store import Store  # noqa: E402

CHANGES, PATIENCE_MS = 11, 1000
WEEKS = ("8 weeks", "13 weeks", "4 weeks", "2 weeks")
WATCH = """(label) => new Promise(done => {
  const place = () => document.querySelector('.st-key-round_count')?.innerText;
  const old = place(), began = performance.now();
  new MutationObserver((_, seen) => {
    if (place() && place() !== old) { seen.disconnect(); done(performance.now() - began); }
  }).observe(document.body, {subtree: true, childList: true, characterData: true});
  [...document.querySelectorAll('.st-key-round_weeks button')].find(b => b.innerText === label).click();
})"""


def kit() -> Any:
    spec = importlib.util.spec_from_file_location("bench_browser", ROOT / "tests" / "app" / "browser.py")
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = made
    spec.loader.exec_module(made)
    return made


def opened(tools: Any, browser: Any, address: str) -> tuple[float, Any]:
    """Seconds from asking for the page to the whole of it."""
    seen = tools.Watched(browser, 1280)
    began = time.perf_counter()
    seen.page.goto(f"{address}/round")
    seen.page.locator(".st-key-round_files").wait_for(timeout=900_000)
    return time.perf_counter() - began, seen


def main(counts: list[int]) -> None:
    tools = kit()
    for count in counts:
        with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
            data = Path(folder) / "data"
            os.environ["BREWWATER_DATA"] = str(data)
            with Store.open_default() as store:
                keep(store, fleet(count))
            browser = tools.launch(play)
            with tools.serving(ROOT / "app.py", data) as address:
                first, seen = opened(tools, browser, address)
                seen.close()
                second, seen = opened(tools, browser, address)
                took = []
                for number in range(CHANGES):
                    seen.page.wait_for_timeout(PATIENCE_MS)
                    took.append(float(seen.page.evaluate(WATCH, WEEKS[number % len(WEEKS)])))
                seen.close()
            print(
                f"{count} units: first opening {first:.1f} s, second {second:.1f} s, another number of weeks to the "
                f"changed page {statistics.median(took):.0f} ms ({min(took):.0f} to {max(took):.0f}), "
                f"{len(took)} changes"
            )


if __name__ == "__main__":
    main([int(a) for a in sys.argv[1:]] or [60, 600])
