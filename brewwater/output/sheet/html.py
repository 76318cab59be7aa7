"""Pages as one HTML file that prints well: no script, no outside file, every text of the user escaped."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from functools import cache
from importlib import resources

from jinja2 import Environment, StrictUndefined, Template

from brewwater.output.sheet.content import SheetPage


@cache
def _template() -> Template:
    text = (resources.files("brewwater.output.sheet") / "page.html.j2").read_text(encoding="utf-8")
    options = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return options.from_string(text)


def html_text(pages: Sequence[SheetPage], title: str) -> str:
    """The pages as one HTML document."""
    return _template().render(pages=pages, title=title, image=_image)


def _image(png: bytes) -> str:
    return f"data:image/png;base64,{b64encode(png).decode()}"
