"""A real Chromium on a real server: every host but this one blocked, the console watched."""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Page, Playwright

from brewwater.web.router import PAGES

ROOT = Path(__file__).resolve().parents[2]
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

# a phone says that it is one
PHONE = "Mozilla/5.0 (Linux; Android 14; K) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/130.0 Mobile Safari/537.36"

# resolves when an element has kept its place for a quarter of a second; fails where it has none within ten
AT_REST = """async box => {
  const place = () => { const at = box.getBoundingClientRect(); return [at.x, at.y, at.width, at.height].join(); };
  const since = performance.now();
  for (let was = place(), still = since; performance.now() - still < 250; ) {
    await new Promise(requestAnimationFrame);
    const now = performance.now();
    if (now - since > 10000) throw new Error("it never came to rest");
    if (place() !== was) { was = place(); still = now; }
  }
}"""


def chromium() -> str | None:
    """Where Chromium is, or None."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


def required() -> bool:
    """Whether a missing Chromium is a failure (in continuous integration)."""
    return os.environ.get("BREWWATER_REQUIRE_BROWSER") == "1"


def launch(play: Playwright) -> Browser:
    return play.chromium.launch(executable_path=chromium(), args=FLAGS)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def answering(address: str, process: subprocess.Popen[bytes]) -> None:
    """Wait until a Streamlit server answers."""
    for _ in range(300):
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=1):
                break
        except OSError:
            assert process.poll() is None, "the server ended"
            time.sleep(0.1)


@contextmanager
def serving(script: Path, data: Path) -> Iterator[str]:
    """Streamlit on a script, with a data folder of its own; gives the address."""
    port = free_port()
    process = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "streamlit",
            "run",
            str(script),
            f"--server.port={port}",
            "--server.address=127.0.0.1",
            "--server.headless=true",
            "--browser.gatherUsageStats=false",
        ],
        cwd=ROOT,
        env={**os.environ, "BREWWATER_DATA": str(data)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    address = f"http://127.0.0.1:{port}"
    try:
        answering(address, process)
        yield address
    finally:
        process.terminate()
        process.wait(10)


class Watched:
    """A page on which other hosts are blocked and every console error is kept."""

    def __init__(self, browser: Browser, width: int, scheme: str = "light", reduced_motion: str = "reduce") -> None:
        self.context: BrowserContext = browser.new_context(
            viewport={"width": width, "height": 900},
            color_scheme=scheme,
            user_agent=PHONE if width < 700 else None,
            accept_downloads=True,
            reduced_motion=reduced_motion,
        )
        self.width = width
        self.errors: list[str] = []
        self.blocked: list[str] = []
        self.context.route("**/*", self._only_here)
        self.page: Page = self.context.new_page()
        self.page.set_default_timeout(90_000)
        self.page.on(
            "console",
            lambda m: self.errors.append(f"{m.text} {m.location.get('url', '')}") if m.type == "error" else None,
        )
        self.page.on("pageerror", lambda e: self.errors.append(str(e)))

    def _only_here(self, route) -> None:  # type: ignore[no-untyped-def]
        url = route.request.url
        if url.startswith(("http://127.0.0.1:", "data:", "blob:")):
            route.continue_()
        else:
            self.blocked.append(url)
            route.abort()

    def open(self, address: str) -> Watched:
        self.page.goto(address)
        self.page.wait_for_selector(".st-key-plan_stamp p", state="attached")
        return self.settled()

    def settled(self) -> Watched:
        """No script run under way."""
        self.page.wait_for_function(
            "() => { const app = document.querySelector('[data-testid=stApp]');"
            " return app && app.getAttribute('data-test-script-state') !== 'running'; }"
        )
        return self

    def go(self, address: str) -> Watched:
        """Open a page by its link, from the side or, on a phone, from the menu, which closes after the choice."""
        stop = next(s for s in PAGES if s.address == (address or "plan"))
        link = self.page.locator(f'a[data-testid=stSidebarNavLink][href$="/{address}"]')
        if self.width < 700:
            self.page.get_by_test_id("stExpandSidebarButton").click()
            self.page.wait_for_timeout(350)
        link.click()
        if stop.question:
            self.page.get_by_role("heading", level=1, name=stop.question, exact=True).wait_for()
        else:
            self.page.locator(".bw-headline").wait_for()
        if self.width < 700:
            self.page.wait_for_timeout(350)
            shut = self.page.get_by_test_id("stSidebarCollapseButton").locator("button")
            assert not (shut.is_visible() and (shut.bounding_box() or {"x": -1})["x"] >= 0), "the menu stays open"
        return self.settled()

    def planned(self, seconds: float = 90) -> Watched:
        """The first screen shows what the search found."""
        self.page.locator('.bw-answer[data-searching="no"]').wait_for(timeout=1000 * seconds)
        # the style sheet is an element of its own: on a busy machine it was once applied after its page
        self.page.wait_for_function(
            "() => getComputedStyle(document.querySelector('.bw-answer')).fontVariantNumeric === 'tabular-nums'"
        )
        return self.settled()

    def stamp(self) -> str:
        return self.page.locator(".st-key-plan_stamp p").text_content() or ""

    def fill(self, key: str, value: str) -> Watched:
        """Type into the field with a key and leave it."""
        box = self.page.locator(f".st-key-{key} input").first
        box.fill(value)
        box.press("Enter")
        return self.settled()

    def press(self, key: str) -> Watched:
        """Press the button with a key as a person does: once the page has come to rest.

        A button that moves between pointer down and up is not pressed, and elements above it still arrive for a
        moment after the script has run.
        """
        self.settled()
        button = self.page.locator(f".st-key-{key} button").first
        button.scroll_into_view_if_needed()
        button.evaluate(AT_REST)
        button.click()
        return self.settled()

    def clean(self) -> None:
        """Nothing went to another host, nothing was written to the console as an error."""
        assert not self.blocked, self.blocked
        # reloaded below a page's own path, Streamlit looks for its server there first and is answered 404
        said = [e for e in self.errors if not re.search(r"404 .*/\w+/_stcore/(health|host-config)$", e)]
        assert not said, said

    def close(self) -> None:
        self.context.close()
