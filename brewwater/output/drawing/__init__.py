"""Drawings as HTML with inline SVG, shared by page and sheet: one set of shapes, colours and numbers."""

from brewwater.output.drawing.channel import channel
from brewwater.output.drawing.dial import dial
from brewwater.output.drawing.ink import CSS, PRINT, SCREEN, Ink
from brewwater.output.drawing.signs import disc, label, sign
from brewwater.output.drawing.treatment import picture, strip
from brewwater.output.drawing.year import next_strip, year_strip

__all__ = [
    "CSS",
    "PRINT",
    "SCREEN",
    "Ink",
    "channel",
    "dial",
    "disc",
    "label",
    "next_strip",
    "picture",
    "sign",
    "strip",
    "year_strip",
]
