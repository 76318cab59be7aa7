"""How the front end compares with an empty Streamlit app that holds one slider and one chart.

Run by hand: ``python tests/benchmarks/bench_front_end.py``. Both apps are served and measured in one run, in turns,
in a real Chromium: first paint (of the page, and of the plan), and the time from a change to its repaint (the
plan's stamp here, the slider's text there). The empty app runs with this project's settings; its repaint is measured
once more as Streamlit comes, with its search for garbage after every run. Nothing is asserted; the ratios are printed.
"""

from __future__ import annotations

import importlib.util
import os
import statistics
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

ROOT = Path(__file__).resolve().parents[2]
EMPTY = """
import altair as alt, pandas as pd, streamlit as st
value = st.slider("Value", 0, 100, 50, key="value")
data = pd.DataFrame({"x": range(50), "y": [value * i for i in range(50)]})
st.altair_chart(alt.Chart(data).mark_line().encode(x="x", y="y"))
with st.container(key="plan_stamp"):
    st.caption(f"Value {value}")
"""
PAINTS, CHANGES, PATIENCE_MS = 9, 21, 1500
# resolves to the milliseconds from the key press to the changed text
WATCH = """() => new Promise(done => {
  const place = document.querySelector('.st-key-plan_stamp'), old = place.innerText;
  let began = 0;
  document.addEventListener('keydown', () => { began = began || performance.now(); }, {capture: true});
  new MutationObserver(() => {
    const now = document.querySelector('.st-key-plan_stamp');
    if (began && now && now.innerText.trim() && now.innerText !== old) done(performance.now() - began);
  }).observe(document.body, {subtree: true, childList: true, characterData: true});
})"""


def kit() -> Any:
    spec = importlib.util.spec_from_file_location("bench_browser", ROOT / "tests" / "app" / "browser.py")
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = made
    spec.loader.exec_module(made)
    return made


def first_paint(tools: Any, browser: Any, address: str) -> tuple[float, float]:
    """Milliseconds to the first contentful paint, and to the stamp."""
    seen = tools.Watched(browser, 1280)
    seen.page.goto(address)
    seen.page.wait_for_selector(".st-key-plan_stamp p")
    stamp = seen.page.evaluate("performance.now()")
    paint = seen.page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
    seen.close()
    return float(paint), float(stamp)


def change(seen: Any, act: Any) -> float:
    """Milliseconds from a change to its repaint, the page at rest before it."""
    seen.page.wait_for_timeout(PATIENCE_MS)
    waiting = seen.page.evaluate_handle(f"() => {{ window.took = ({WATCH})(); return 1; }}")
    act(seen.page)
    took = seen.page.evaluate("() => window.took")
    waiting.dispose()
    return float(took)


def arrow(page: Any) -> None:
    page.locator(".stSlider input, .stSlider [role=slider]").first.press("ArrowRight")


@contextmanager
def as_it_comes() -> Iterator[None]:
    """For servers started meanwhile, what this project changes of how Streamlit runs is as Streamlit has it."""
    os.environ["STREAMLIT_RUNNER_POST_SCRIPT_GC"] = "true"
    try:
        yield
    finally:
        del os.environ["STREAMLIT_RUNNER_POST_SCRIPT_GC"]


def line(name: str, ours: list[float], theirs: list[float], limit: float) -> None:
    a, b = statistics.median(ours), statistics.median(theirs)
    print(f"{name}: {a:.0f} ms here, {b:.0f} ms empty app, ratio {a / b:.2f} (wanted at most {limit:g})")


def main() -> None:
    tools = kit()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        script = Path(folder) / "empty.py"
        script.write_text(EMPTY, encoding="utf-8")
        browser = tools.launch(play)
        with (
            tools.serving(ROOT / "app.py", Path(folder) / "data") as ours,
            tools.serving(script, Path(folder) / "none") as theirs,
            as_it_comes(),
            tools.serving(script, Path(folder) / "none") as plain,
        ):
            for address in (ours, theirs, plain):  # imports and caches warm, as on a server that has been opened before
                first_paint(tools, browser, address)
            paints = [(first_paint(tools, browser, ours), first_paint(tools, browser, theirs)) for _ in range(PAINTS)]
            line("first paint", [a[0] for a, _ in paints], [b[0] for _, b in paints], 1.5)
            line("first plan", [a[1] for a, _ in paints], [b[1] for _, b in paints], 1.5)

            plan, *sliders = (tools.Watched(browser, 1280) for _ in range(3))
            plan.open(ours)
            for slider, address in zip(sliders, (theirs, plain), strict=True):
                slider.open(address)
            plan.page.locator(".st-key-search_strip").wait_for(state="detached", timeout=300_000)
            here: list[float] = []
            there: tuple[list[float], list[float]] = [], []
            for number in range(CHANGES):

                def type_hardness(page: Any, value: int = 150 + 3 * number) -> None:
                    box = page.locator(".st-key-hardness input")
                    box.fill(str(value))
                    box.press("Enter")

                here.append(change(plan, type_hardness))
                for slider, took in zip(sliders, there, strict=True):
                    took.append(change(slider, arrow))
            line("change to repaint", here, there[0], 3.0)
            line("change to repaint, the empty app as Streamlit comes", here, there[1], 3.0)
            for name, took in (("here", here), ("empty", there[0]), ("empty as it comes", there[1])):
                print(f"  {name} from {min(took):.0f} to {max(took):.0f} ms")
        browser.close()


if __name__ == "__main__":
    main()
