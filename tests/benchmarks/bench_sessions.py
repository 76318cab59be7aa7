"""How the front end bears many people at once: ``python tests/benchmarks/bench_sessions.py``.

``streamlit run app.py`` is started once, on loopback, with a store of its own. First one browser session, then 25
(each a Chromium context of its own in one browser, on this same machine) type numbers for two minutes, at the pace of
people: after each repaint a think time drawn from an exponential distribution with a mean of 10 s (``--think``). Every
number typed is new, so that no answer is a remembered one.

The first change of a fresh page costs its browser about twice the others: each session makes one before the two
minutes begin (said apart), alone as in company.

Change to repaint: from the key press to the moment when the page's stamp is that of the new values (``stamp``), and to
the end of the script run that brought it, when every figure and chart of the page is sent and drawn (``page``). The
stamp is looked at again later: only the one that stays counts, so that a search that ends just then cannot pass for
the answer. Errors: exceptions in the page or on its console, error and exception boxes, fields that come up empty,
lines of the server's error stream, changes without an answer within a minute. Memory: the resident size of the server
and its children.

After its answer each session leaves the field it typed in. Of the windows of one machine only the one in front has a
caret; the browser here tells all 25 that they are in front, and 25 blinking carets drew frames for a fifth of a core.

Browser and server share this machine's cores, so the browser is part of what is measured. The same is asked once more
of light clients that speak Streamlit's messages and draw nothing: that is the server alone, and explains the first.

Nothing is asserted; the exit status is 1 where an error was counted.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from runpy import run_path
from typing import Any

import websockets
from playwright.async_api import Browser, Page, async_playwright
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

ROOT = Path(__file__).resolve().parents[2]
TOOLS: dict[str, Any] = run_path(str(ROOT / "tests" / "app" / "browser.py"))
# widget and the range of what is typed: lowest, highest
FIELDS = {"hardness": (80, 400), "alkalinity": (40, 350), "tds": (150, 700), "drinks": (40, 400)}
LIGHT_FIELDS = ("hardness", "alkalinity", "tds")
# said by Streamlit at its start, and where a page asks for a part that a whole run has just replaced
FINISHED = ForwardMsg.FINISHED_SUCCESSFULLY
HARMLESS = (
    "server started on",
    "does not exist anymore - it might have been removed during a preceding full-app rerun",
)
SETTLED_MS, GIVEN_UP_MS = 1200, 60_000
# keeps every change of the stamp and of the script's state, with its time
WATCH = """() => {
  const now = () => ({stamp: (document.querySelector('.st-key-plan_stamp p') || {}).textContent || '',
    busy: (document.querySelector('[data-testid=stApp]') || document.body).getAttribute('data-test-script-state')});
  window.seen = {stamps: [], rests: [], pressed: 0, last: now()};
  document.addEventListener('keydown', e => { if (e.key === 'Enter') seen.pressed = performance.now(); }, {capture: true});
  new MutationObserver(() => {
    const at = performance.now(), next = now();
    if (next.stamp && next.stamp !== seen.last.stamp) { seen.stamps.push([at, next.stamp]); seen.last.stamp = next.stamp; }
    if (next.busy !== seen.last.busy) {
      if (next.busy !== 'running') seen.rests.push(at);
      seen.last.busy = next.busy;
    }
  }).observe(document.body, {subtree: true, childList: true, characterData: true, attributes: true,
    attributeFilter: ['data-test-script-state']});
}"""
# resolves to the milliseconds from the key press to the stamp that stays, and to the end of its script run
ANSWER = """([settled, most]) => new Promise(done => {
  const began = seen.pressed;
  const look = () => {
    const now = performance.now(), last = seen.stamps[seen.stamps.length - 1];
    if (last && last[0] > began && now - last[0] > settled) {
      // where both changes of state fell into one look, the run had ended when the stamp was seen
      const rest = seen.rests.find(at => at >= last[0]) || (seen.last.busy !== 'running' && last[0]);
      if (rest) return done([last[0] - began, rest - began, seen.stamps.filter(s => s[0] > began).length]);
    }
    if (now - began > most) return done(JSON.stringify({pressed: began, now, stamps: seen.stamps.slice(-3), rests: seen.rests.slice(-3), last: seen.last}));
    setTimeout(look, 100);
  };
  look();
})"""


@dataclass
class Seen:
    """What one round of sessions gave."""

    stamp_ms: list[float] = field(default_factory=list)
    page_ms: list[float] = field(default_factory=list)
    superseded: int = 0
    errors: list[str] = field(default_factory=list)


def resident_MB(pid: int) -> float:
    """Resident memory of a process and of all below it."""
    total, waiting = 0.0, [pid]
    while waiting:
        one = waiting.pop()
        try:
            status = Path(f"/proc/{one}/status").read_text()
            for task in Path(f"/proc/{one}/task").iterdir():
                waiting += [int(c) for c in (task / "children").read_text().split()]
        except OSError:
            continue
        total += next((float(row.split()[1]) / 1024 for row in status.splitlines() if row.startswith("VmRSS")), 0.0)
    return total


def spent_s(pid: int) -> float:
    """Processor seconds of a process so far."""
    numbers = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(numbers[11]) + int(numbers[12])) / os.sysconf("SC_CLK_TCK")


@contextmanager
def server(data: Path, said: Path) -> Iterator[tuple[str, int]]:
    """The front end on loopback: its address and its process; its error stream goes to a file."""
    port = TOOLS["free_port"]()
    with said.open("wb") as stream:
        process = subprocess.Popen(
            [sys.executable, "-m", "streamlit", "run", "app.py", f"--server.port={port}", "--server.headless=true"],
            cwd=ROOT,
            env={**os.environ, "BREWWATER_DATA": str(data)},
            stdout=subprocess.DEVNULL,
            stderr=stream,
        )
    try:
        address = f"http://127.0.0.1:{port}"
        TOOLS["answering"](address, process)
        yield address, process.pid
    finally:
        process.terminate()
        process.wait(20)


async def opened(browser: Browser, address: str, seen: Seen) -> Page:
    """A session of its own, its plan on the screen."""
    context = await browser.new_context(viewport={"width": 1280, "height": 900})
    page = await context.new_page()
    page.set_default_timeout(GIVEN_UP_MS)
    page.on("pageerror", lambda e: seen.errors.append(f"page: {e}"))
    page.on("console", lambda m: seen.errors.append(f"console: {m.text}") if m.type == "error" else None)
    page.on("crash", lambda _: seen.errors.append("page crashed"))
    await page.goto(address)
    await page.wait_for_selector(".st-key-plan_stamp p")
    await page.evaluate(WATCH)
    return page


async def change(page: Page, seen: Seen, luck: random.Random) -> bool:
    """Type a number, wait for the answer, leave the field; False where the page is gone or deaf."""
    key = luck.choice(list(FIELDS))
    box = page.locator(f".st-key-{key} input")
    try:
        await box.fill(str(luck.randint(*FIELDS[key])))
        await box.press("Enter")
        took = await page.evaluate(ANSWER, [SETTLED_MS, GIVEN_UP_MS])
        await page.evaluate("document.activeElement.blur()")
        boxes = await page.locator("[data-testid=stException], [data-testid=stAlertContentError]").all_inner_texts()
    except Exception as error:  # counted, and the others go on
        seen.errors.append(f"session: {error}")
        return False
    seen.errors += [f"box: {text}" for text in boxes]
    for name in FIELDS:
        if not await page.locator(f".st-key-{name} input").input_value():
            seen.errors.append(f"{name} is empty")
    if isinstance(took, str):
        shown = await box.input_value()
        seen.errors.append(f"no answer within {GIVEN_UP_MS / 1000:.0f} s: {key} shows {shown}; {took}")
    else:
        seen.stamp_ms.append(took[0])
        seen.page_ms.append(took[1])
        seen.superseded += took[2] > 1
    return True


async def user(page: Page, seen: Seen, luck: random.Random, think_s: float, until: float) -> None:
    """Change a number, think; again."""
    await asyncio.sleep(luck.uniform(0, think_s))
    while time.monotonic() < until and await change(page, seen, luck):
        await asyncio.sleep(luck.expovariate(1 / think_s))


async def round_of(browser: Browser, address: str, count: int, scenario: argparse.Namespace) -> tuple[Seen, list[Page]]:
    """So many sessions at once; they stay open."""
    seen = Seen()
    pages = []
    for _ in range(count):
        try:
            pages.append(await opened(browser, address, seen))
        except Exception as error:
            seen.errors.append(f"not opened: {error}")
    await asyncio.sleep(scenario.warm)  # the first search, which all of them share
    first = Seen()
    for i, page in enumerate(pages):
        await change(page, first, random.Random(500 * count + i))
    told(f"first change of {count}, one after the other, not counted below", first)
    seen.errors += first.errors
    until = time.monotonic() + scenario.seconds
    await asyncio.gather(
        *(user(page, seen, random.Random(1000 * count + i), scenario.think, until) for i, page in enumerate(pages))
    )
    return seen, pages


async def light_user(address: str, seen: Seen, luck: random.Random, think_s: float, seconds: float) -> None:
    """The same session without a browser, over Streamlit's own messages: what the server alone takes."""
    async with websockets.connect(
        address.replace("http", "ws") + "/_stcore/stream",
        subprotocols=[websockets.Subprotocol("streamlit")],
        max_size=None,
        origin=websockets.Origin(address),
        ping_interval=None,
    ) as line:
        ids: dict[str, str] = {}
        typed: dict[str, float] = {}

        async def run() -> str:
            """Ask for a run and read its messages to the end: the stamp."""
            ask = BackMsg()
            ask.rerun_script.query_string = ""
            for key, value in typed.items():
                ask.rerun_script.widget_states.widgets.add(id=ids[key], double_value=value)
            await line.send(ask.SerializeToString())
            stamp = ""
            while True:
                said = ForwardMsg()
                said.ParseFromString(await line.recv())
                element = said.delta.new_element
                if element.number_input.id:
                    ids[element.number_input.id.rpartition("-")[2]] = element.number_input.id
                if element.exception.message:
                    seen.errors.append(f"light: {element.exception.message}")
                if element.markdown.body.startswith("Plan "):
                    stamp = element.markdown.body
                # a run that gives way to the next one is not the end
                if said.WhichOneof("type") == "script_finished" and said.script_finished == FINISHED and stamp:
                    return stamp

        stamp = await run()
        await asyncio.sleep(luck.uniform(0, think_s))
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            key = luck.choice(LIGHT_FIELDS)
            typed[key] = luck.randint(*FIELDS[key]) + luck.random()
            begun = time.monotonic()
            now = await run()
            seen.page_ms.append(1000 * (time.monotonic() - begun))
            if now == stamp:
                seen.errors.append(f"light: the stamp stayed at {stamp!r}")
            stamp = now
            await asyncio.sleep(luck.expovariate(1 / think_s))


async def light_round(address: str, count: int, scenario: argparse.Namespace) -> Seen:
    seen = Seen()
    await asyncio.gather(
        *(
            light_user(address, seen, random.Random(7000 * count + i), scenario.think, scenario.seconds)
            for i in range(count)
        )
    )
    return seen


def p95(values: list[float]) -> float:
    return statistics.quantiles(values, n=20, method="inclusive")[-1] if len(values) > 1 else float("nan")


def told(name: str, seen: Seen) -> None:
    for what, values in (("stamp", seen.stamp_ms), ("page", seen.page_ms)):
        if values:
            print(
                f"{name}, {what}: {len(values)} changes, p50 {statistics.median(values):.0f} ms, "
                f"p95 {p95(values):.0f} ms, longest {max(values):.0f} ms"
            )
    print(f"{name}: {len(seen.errors)} errors; {seen.superseded} answers that a later stamp replaced")
    for text in seen.errors[:10]:
        print(f"  {text[:300]}")


async def measured(scenario: argparse.Namespace) -> int:
    with tempfile.TemporaryDirectory() as folder:
        said = Path(folder) / "stderr.txt"
        with server(Path(folder) / "data", said) as (address, pid):
            async with async_playwright() as play:
                browser = await play.chromium.launch(executable_path=TOOLS["chromium"](), args=TOOLS["FLAGS"])
                print(
                    f"{os.cpu_count()} cores shared by server and browser; load {os.getloadavg()[0]:.2f} before; "
                    f"think time {scenario.think:g} s on average, {scenario.seconds:g} s a round"
                )
                one, pages = await round_of(browser, address, 1, scenario)
                told("1 session", one)
                before, used, begun = resident_MB(pid), spent_s(pid), time.monotonic()
                many, more = await round_of(browser, address, scenario.sessions, scenario)
                after, took = resident_MB(pid), time.monotonic() - begun
                told(f"{scenario.sessions} sessions", many)
                print(f"server: {(spent_s(pid) - used) / took:.2f} cores over the round; load {os.getloadavg()[0]:.2f}")
                print(
                    f"memory: {before:.0f} MB with one session, {after:.0f} MB with {scenario.sessions} more, "
                    f"{(after - before) / scenario.sessions:.1f} MB a session (server and its children)"
                )
                for what, ours, alone in (("stamp", many.stamp_ms, one.stamp_ms), ("page", many.page_ms, one.page_ms)):
                    if len(ours) > 1 and len(alone) > 1:
                        print(
                            f"{what}: p95 of {scenario.sessions} over one session's p95 {p95(ours) / p95(alone):.2f}, "
                            f"over its median {p95(ours) / statistics.median(alone):.2f} (wanted at most 5)"
                        )
                for page in (*pages, *more):
                    await page.context.close()
                await browser.close()
            light = [await light_round(address, count, scenario) for count in (1, scenario.sessions)]
            for count, found in zip((1, scenario.sessions), light, strict=True):
                told(f"{count} light clients (no browser)", found)
            alone, ours = (found.page_ms for found in light)
            if len(alone) > 1 and len(ours) > 1:
                print(
                    f"light: p95 of {scenario.sessions} over one's p95 {p95(ours) / p95(alone):.2f}, over its median "
                    f"{p95(ours) / statistics.median(alone):.2f}"
                )
            await asyncio.sleep(1)
        rows = [row for row in said.read_text(errors="replace").splitlines() if row.strip()]
    complaints = [row for row in rows if not any(known in row for known in HARMLESS)]
    print(f"server's error stream: {len(complaints)} complaints, {len(rows) - len(complaints)} harmless lines")
    for row in complaints[:20]:
        print(f"  {row[:300]}")
    return 1 if any(found.errors for found in (one, many, *light)) or complaints else 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sessions", type=int, default=25)
    parser.add_argument("--seconds", type=float, default=120.0)
    parser.add_argument("--think", type=float, default=10.0, help="mean think time, s")
    parser.add_argument("--warm", type=float, default=30.0, help="wait after opening, s")
    return asyncio.run(measured(parser.parse_args()))


if __name__ == "__main__":
    sys.exit(main())
