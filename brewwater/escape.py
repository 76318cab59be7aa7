"""A user's text where a machine would read it as more than text: one escape for HTML and SVG, one for Markdown, one for
the drawing language of trees.

Whatever somebody typed, a file held or an address of the browser brought goes through one of these before it stands in
a page. Figures and our own words need none.
"""

from __future__ import annotations

import html
import re

# what opens emphasis, code, a link, a picture, a formula, a colour, a struck word, a table or an element of HTML, and
# what makes a heading or a list where it stands first
_MARKS = re.compile(r"([\\`*_{}\[\]<>|$~&])|^([#+\-=])|^([0-9]+[.)])(?=\s|$)")
_LINKS = re.compile(r"[\[\]!`]|:(?=//)")
# What is turned into a link, an icon or a picture letter also where its marks are escaped; the joiner has no width and
# breaks no line.
_JOINER = "\u2060"
_TURNED = re.compile(r"(?<=:)(?=[a-z/])|(?<=@)(?=\S)|(?<=\bwww)(?=\.)", re.IGNORECASE)


def for_html(text: object) -> str:
    """Text for an HTML or SVG element, or for an attribute in quotes.

    Streamlit takes blocks of HTML as Markdown, so what opens a link or a picture there is written as a character too.
    """
    return _LINKS.sub(
        lambda found: f"&#{ord(found.group()[0])};{found.group()[1:]}", html.escape(str(text), quote=True)
    )


for_svg = for_html


def for_markdown(text: object) -> str:
    """Text for Streamlit's Markdown (its messages, captions and labels): shown as it is, on one line."""
    one = _TURNED.sub(_JOINER, " ".join(str(text).split()))
    return _MARKS.sub(_escaped, one)


def _escaped(found: re.Match[str]) -> str:
    text = found.group()
    return f"{text[:-1]}\\{text[-1]}"
