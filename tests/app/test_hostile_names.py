"""A hostile name on every page and sheet: wherever a text of a user, a file or an address is shown, it is only text."""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

import brewwater
from brewwater.escape import for_html, for_markdown
from brewwater.output.sheet.files import files
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import PlanDocument, demo_document, load_document
from brewwater.store import Store
from brewwater.web.router import PAGES
from brewwater.web.server.leaving import LEAVING
from brewwater.web.state import as_document

PACKAGE = Path(brewwater.__file__).parent
EVIL = '![x](http://evil.example/a)<img src="http://evil.example/b">'
# widgets whose text Streamlit does not read as Markdown: what is typed or chosen, names of files, data of charts
PLAIN = re.compile(
    r"\.(id|value|values|raw_values|default_value|form_id|url|urls|file_name|placeholder|group_id|element_id"
    r"|user_key|icon|proto_type)$"
)
TYPED = {"TextInput", "TextArea", "Text", "Selectbox.options", "MultiSelect.options", "GraphVizChart", "VegaLiteChart"}
MESSAGES = {"error", "warning", "info", "success", "toast", "exception"}


def hostile(document: PlanDocument, plan: Plan) -> PlanDocument:
    """The document with ``plan``'s train, and a hostile piece in every name that a user gives and in every note."""
    kept = document.model_copy(update={"train": plan.candidate.stages}).model_dump(mode="json")
    names: dict[str, str] = {}

    def gather(part: Any) -> None:
        if isinstance(part, dict) and isinstance(part.get("name"), str):
            names[part["name"]] = f"{part['name'][:50]} {EVIL}"
        for inner in part.values() if isinstance(part, dict) else part if isinstance(part, list) else ():
            gather(inner)

    def renamed(part: Any) -> Any:
        if isinstance(part, dict):
            return {k: renamed(v) for k, v in part.items()}
        if isinstance(part, list):
            return [renamed(v) for v in part]
        return names.get(part, part) if isinstance(part, str) else part

    gather(kept)
    made = renamed(kept)
    made["note"] = EVIL
    line = {"id": "a" * 32, "date": "2027-01-12", "kind": "hardness", "value": 9.0, "unit": "gpg"}
    line |= {"where": "source", "note": EVIL}
    made["readings"] = [*made["readings"], line] if made["readings"] else [line]
    return load_document(json.dumps(made))


class Tags(HTMLParser):
    """What in a piece of HTML asks another host for something, or runs."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        ours = tag == "script" and attrs == [("src", LEAVING)]  # a file of our own, and nothing else
        if (tag == "script" and not ours) or any(
            "evil.example" in (v or "") and k in ("src", "href", "style") for k, v in attrs
        ):
            self.found.append(self.get_starttag_text() or tag)
        self.found += [f"{tag} {name}" for name, _ in attrs if name.startswith("on")]


def alive(kind: str, path: str, text: str) -> bool:
    """Whether the hostile piece is more than text there."""
    if kind == "Html" or text.lstrip().startswith(("<!DOCTYPE", "<html")):
        return bool(Tags(text).found)
    if kind in TYPED or f"{kind}{path}" in TYPED or PLAIN.search(path):
        return False
    return bool(re.search(r"(?<!\\)\[x(?<!\\)\]|(?<!\\)<img|http://evil", text))


def texts(message: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Every string in a protobuf message, with the path to it."""
    for field, value in message.ListFields():
        here = f"{path}.{field.name}"
        for one in value if isinstance(value, (list, tuple)) or hasattr(value, "append") else (value,):
            if isinstance(one, str):
                yield here, one
            elif hasattr(one, "ListFields"):
                yield from texts(one, here)


def nodes(node: Any) -> Iterator[Any]:
    yield node
    for inner in getattr(node, "children", {}).values():
        yield from nodes(inner)


def shown(at: Any) -> Iterator[tuple[str, str, str]]:
    """Kind, path and text of all that stands on a page."""
    for node in nodes(at._tree):
        proto = getattr(node, "proto", None)
        if hasattr(proto, "ListFields"):
            for path, text in texts(proto):
                yield type(proto).__name__, path, text


def faults(at: Any) -> list[str]:
    return [f"{kind}{path}: {text[:120]}" for kind, path, text in shown(at) if alive(kind, path, text)]


def test_the_test_can_see_one() -> None:
    for text in (EVIL, f"**{EVIL}**", "see http://evil.example", f"{for_markdown('a')} [x](http://evil.example)"):
        assert alive("Markdown", ".body", text)
        assert not alive("Markdown", ".body", for_markdown(text))
    assert alive("Html", ".body", f"<div>{EVIL}</div>")
    assert not alive("Html", ".body", f'<div title="{for_html(EVIL)}">{for_html(EVIL)}</div>')
    assert alive("Radio", ".options", EVIL)


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("12.5 mg/L (typical 13)", "12.5 mg/L (typical 13)"),
        ("Hand sink - left, 10:30", "Hand sink - left, 10:30"),
        ("- a", "\\- a"),
        ("1. a", "1\\. a"),
        ("# a", "\\# a"),
        ("$1 and $2", "\\$1 and \\$2"),
        (":red[a]", ":\u2060red\\[a\\]"),
        ("two\nlines", "two lines"),
    ],
)
def test_plain_text_stays_and_marks_are_escaped(text: str, left: str) -> None:
    assert for_markdown(text) == left


def test_every_page(ready: Any, found: Plan) -> None:
    front = type(ready)(hostile(demo_document(), found))
    amiss, met = [], set()
    for address in (stop.address for stop in PAGES):
        front.go(address)
        amiss += [f"{address}: {fault}" for fault in faults(front.at)]
        met |= {address for kind, _, text in shown(front.at) if "evil" in text and kind != "TextInput"}
    assert not amiss, "\n".join(dict.fromkeys(amiss))
    assert len(met) >= 8, met  # the names do stand on the pages


def test_an_address_and_a_saved_unit(front: Any) -> None:
    with Store.open_default() as kept:
        ref = kept.create_unit(EVIL).ref
        kept.add_reading_text(ref, date="2027-01-12", kind="meter", value="5", unit="gal", note=EVIL)
    del front.at.session_state["desk"]
    front.at.query_params["unit"] = EVIL
    front.run()
    assert any("evil" in text for _, _, text in shown(front.at))  # it is named as not found
    assert not faults(front.at)
    for address in ("units", "readings", "files"):
        front.go(address)
        assert not faults(front.at)


def test_units_still_planned_side_by_side(front: Any, few_draws: Any) -> None:
    with Store.open_default() as kept:
        for name in (EVIL, f"Another {EVIL}"):
            kept.save_plan(kept.create_unit(name).ref, as_document(few_draws(demo_document())), 0)
    front.go("units")
    assert any("Planning" in text and "evil" in text for _, _, text in shown(front.at))
    assert not faults(front.at)


def test_every_sheet(found: Plan, few_draws: Any) -> None:
    made = files(make_plan(hostile(few_draws(demo_document()), found)))
    pages = {name: content.decode() for name, content in made.items() if name.endswith(".html")}
    assert pages
    for name, text in pages.items():
        assert "evil.example" in text
        assert not Tags(text).found, name


def test_one_escape_and_no_message_without_it() -> None:
    """Nobody escapes by other means, and a message shows either our own words or an escaped text."""
    amiss = []
    for path in sorted(PACKAGE.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if path.name != "escape.py" and isinstance(node, ast.ImportFrom) and node.module == "html":
                amiss += [f"{path}: html.{a.name}" for a in node.names if a.name == "escape"]
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in MESSAGES:
                on = node.func.value
                if isinstance(on, ast.Name) and on.id == "st" and node.args and not _ours(node.args[0]):
                    amiss.append(f"{path}:{node.lineno} st.{node.func.attr}({ast.unparse(node.args[0])[:60]})")
    assert not amiss, "\n".join(amiss)


def _ours(node: ast.AST) -> bool:
    if isinstance(node, ast.JoinedStr):
        return all(_ours(part) for part in node.values)
    if isinstance(node, ast.FormattedValue):
        return _ours(node.value)
    if isinstance(node, ast.IfExp):
        return _ours(node.body) and _ours(node.orelse)
    if isinstance(node, ast.BinOp):
        return _ours(node.left) and _ours(node.right)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "join":
        given = node.args[0]
        return isinstance(given, ast.GeneratorExp) and _ours(given.elt)
    if isinstance(node, ast.Call):
        return isinstance(node.func, ast.Name) and node.func.id in ("for_markdown", "len")
    return isinstance(node, ast.Constant)


@pytest.mark.browser
def test_nothing_leaves_this_machine(kit, chromium, served, found: Plan, few_draws, monkeypatch) -> None:
    """In a real browser, with the content policy put aside: the escape alone must keep every request here."""
    address, data = served
    monkeypatch.setenv("BREWWATER_DATA", str(data))
    with Store.open_default() as kept:
        ref = kept.create_unit(EVIL).ref
        kept.save_plan(ref, as_document(few_draws(hostile(demo_document(), found))), 0)
    context = chromium.new_context(bypass_csp=True, viewport={"width": 1280, "height": 900})
    asked: list[str] = []
    context.on("request", lambda request: asked.append(request.url))
    context.route(lambda url: urlsplit(url).hostname == "evil.example", lambda route: route.abort())
    page = context.new_page()
    page.set_default_timeout(30_000)
    page.goto(f"{address}/?unit={ref}")
    page.wait_for_selector(".st-key-plan_stamp p")
    live = "a[href*='evil.example'], img[src*='evil.example'], image, object, iframe[src*='evil.example']"
    named = ("plan", "days", "treatment", "branches")  # with a message, choices, headings that open, a drawing
    for question, name in ((stop.question, stop.address) for stop in PAGES if stop.address in named):
        page.goto(f"{address}/{'' if name == 'plan' else name}?unit={ref}")
        head = page.get_by_role("heading", level=1, name=question or None, exact=True)
        head.first.wait_for()
        page.wait_for_timeout(400)
        assert page.locator(live).count() == 0, name
    page.goto(f"{address}/?unit=![x](http://evil.example/q)")
    page.wait_for_selector(".st-key-plan_stamp p")
    page.get_by_text("evil.example/q").first.wait_for()
    assert page.locator(live).count() == 0
    here = [url for url in asked if url.startswith(("http://127.0.0.1:", "data:", "blob:"))]
    assert here
    assert [url for url in asked if url not in here] == []
    context.close()
