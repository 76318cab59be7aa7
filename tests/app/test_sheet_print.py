"""The printed sheet in a real browser: it asks nothing of the network, and the plan fits on one page."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pdfplumber
import pytest

from brewwater.output.sheet.files import files
from brewwater.plan import make_plan
from brewwater.planning.document import demo_document

pytestmark = pytest.mark.browser


def test_the_plan_prints_on_one_page(tmp_path: Path, chromium: Any) -> None:
    document = demo_document()
    document = document.model_copy(update={"settings": document.settings.model_copy(update={"draws": 64})})
    page_file = tmp_path / "plan.html"
    page_file.write_bytes(files(make_plan(document, search=False))["plan.html"])
    asked: list[str] = []
    page = chromium.new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.goto(page_file.as_uri())
    printed = page.pdf(format="Letter", prefer_css_page_size=False)
    narrow = chromium.new_page(viewport={"width": 360, "height": 700})
    narrow.goto(page_file.as_uri())
    overflow = narrow.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    page.close()
    narrow.close()
    assert asked == [page_file.as_uri()]
    with pdfplumber.open(io.BytesIO(printed)) as pdf:
        texts = [p.extract_text() for p in pdf.pages]
    assert len(texts) == 1
    assert document.name in texts[0]
    assert "verify by test" in texts[0]
    assert overflow <= 0
