"""In a real browser, an answer that comes: until then what is out of date is dimmed, without drawing frames for it; what
was opened stays open."""

from __future__ import annotations

from typing import Any

import pytest
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

pytestmark = pytest.mark.browser
# what draws frames; how many parts are out of date, and the lowest opacity among them
LOOK = """() => {
  const stale = [...document.querySelectorAll('[data-stale=true]')];
  return {
    moving: document.getAnimations().filter(a => a.effect.getComputedTiming().duration > 0)
      .map(a => `${a.transitionProperty || a.animationName} of ${a.effect.target.outerHTML.slice(0, 80)}`),
    stale: stale.length,
    opacity: Math.min(...stale.map(e => Number(getComputedStyle(e).opacity)), 1),
  };
}"""


def test_a_page_that_waits_dims_and_draws_no_frames(kit: Any, chromium: Any, served: Any) -> None:
    address, _ = served
    seen = kit.Watched(chromium, 1280, "light", reduced_motion="no-preference")
    line: dict[str, Any] = {"hold": False, "whole": False, "started": False, "kept": []}

    def between(page_side: Any) -> None:
        server_side = page_side.connect_to_server()
        line["page"] = page_side

        def to_page(said: bytes | str) -> None:
            if line["hold"] and line["started"]:
                line["kept"].append(said)
                return
            if line["hold"] and isinstance(said, bytes):
                message = ForwardMsg.FromString(said)
                if message.HasField("new_session"):  # a look at the search runs a fragment only
                    line["whole"] = not message.metadata.run.fragment_ids
                line["started"] = line["whole"] and message.session_status_changed.script_is_running
            page_side.send(said)

        server_side.on_message(to_page)

    seen.page.route_web_socket("**/_stcore/stream", between)
    seen.open(address)
    seen.page.wait_for_function("() => !document.getAnimations().length")  # the first drawing is over
    line["hold"] = True
    seen.page.locator(".st-key-hardness input").fill("222")
    seen.page.locator(".st-key-hardness input").press("Enter")
    looks = []
    for _ in range(20):
        seen.page.wait_for_timeout(100)
        looks.append(seen.page.evaluate(LOOK))
    assert line["started"] and line["kept"], "the run's messages were not held back"
    assert looks[-1]["stale"] > 5, looks[-1]
    assert looks[-1]["opacity"] < 0.5, "what is out of date must be seen to be"
    assert not [look["moving"] for look in looks if look["moving"]]
    line["hold"] = False
    for said in line["kept"]:
        line["page"].send(said)
    seen.settled()
    assert seen.page.locator(".st-key-hardness input").input_value() == "222"
    assert seen.page.evaluate(LOOK)["opacity"] == 1
    seen.clean()
    seen.close()


def test_what_was_assumed_stays_open_when_a_number_changes(kit: Any, chromium: Any, served: Any) -> None:
    address, _ = served
    seen = kit.Watched(chromium, 1280, "light")
    seen.open(address)
    opened = seen.page.locator(".st-key-assumed details[open]")
    assert opened.count() == 0
    seen.page.locator(".st-key-assumed summary").click()
    opened.wait_for()
    stamp = seen.page.locator(".st-key-plan_stamp p").inner_text()
    seen.page.locator(".st-key-hardness input").fill("13.5")
    seen.page.locator(".st-key-hardness input").press("Enter")
    seen.page.wait_for_function("was => document.querySelector('.st-key-plan_stamp p')?.textContent !== was", arg=stamp)
    seen.settled()
    assert opened.count() == 1
    seen.clean()
    seen.close()
