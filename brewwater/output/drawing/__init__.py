"""Drawings as HTML with inline SVG, shared by page and sheet: one set of shapes, colours and numbers."""

from brewwater.output.drawing.blocks import calendar_html, caution, coming, number, treatment_html
from brewwater.output.drawing.channel import channel
from brewwater.output.drawing.dial import dial
from brewwater.output.drawing.first import answer_html, guess, icon
from brewwater.output.drawing.ink import CSS, PRINT, SCREEN, Ink
from brewwater.output.drawing.signs import H2, disc, label, sign
from brewwater.output.drawing.style import STYLE
from brewwater.output.drawing.treatment import picture, strip
from brewwater.output.drawing.year import next_strip, year_strip

__all__ = [
    "CSS",
    "H2",
    "PRINT",
    "SCREEN",
    "STYLE",
    "Ink",
    "answer_html",
    "calendar_html",
    "caution",
    "channel",
    "coming",
    "dial",
    "disc",
    "guess",
    "icon",
    "label",
    "next_strip",
    "number",
    "picture",
    "sign",
    "strip",
    "treatment_html",
    "year_strip",
]
