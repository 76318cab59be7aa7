"""Whose paper it is: a name, and a logo from a picture of theirs, bounded and encoded anew."""

from __future__ import annotations

import io
from dataclasses import dataclass

from brewwater.errors import InputError

LOGO_BYTES = 2_000_000
LOGO_PIXELS = 4_000_000
LOGO_SIZE = (720, 240)  # kept at most so large, in pixels
NAME_LETTERS = 80
_FORMATS = ("PNG", "JPEG")


@dataclass(frozen=True, slots=True)
class Owner:
    """Who gives the paper out. ``logo``: a PNG of ``logo_size`` pixels made by ``clean_logo``; None without one."""

    name: str = ""
    logo: bytes | None = None
    logo_size: tuple[int, int] = (0, 0)


def owner_of(name: str = "", logo: bytes | None = None, *, fields: tuple[str, str] = ("owner", "logo")) -> Owner:
    """An owner from what was typed and the bytes of a picture; ``fields``: what a message calls the two.

    Raises
    ------
    InputError : the name is too long, or the picture cannot be used
    """
    words = " ".join(name.split())
    if len(words) > NAME_LETTERS or not words.isprintable():
        raise InputError(fields[0], ascii(name), f"at most {NAME_LETTERS} plain letters are printed", "Shorten it.")
    if not logo:
        return Owner(words)
    picture, size = clean_logo(logo, fields[1])
    return Owner(words, picture, size)


def clean_logo(data: bytes, field: str = "logo") -> tuple[bytes, tuple[int, int]]:
    """A picture as a PNG of its pixels alone, on white, at most ``LOGO_SIZE``; and its size.

    What stands beside the picture in the file (place, time, device, comments) is left out. The file's own words on its
    size are asked before a pixel is read.

    Raises
    ------
    InputError : no whole PNG or JPEG, or larger than ``LOGO_BYTES`` or ``LOGO_PIXELS``
    """
    from PIL import Image

    if len(data) > LOGO_BYTES:
        raise InputError(field, f"{len(data)} bytes", f"at most {LOGO_BYTES} bytes are read", "Give a smaller picture.")
    try:
        with Image.open(io.BytesIO(data), formats=_FORMATS) as found:
            if found.width * found.height > LOGO_PIXELS:
                size = f"{found.width} x {found.height} pixels"
                raise InputError(field, size, f"at most {LOGO_PIXELS} pixels are read", "Give a smaller picture.")
            seen = found.convert("RGBA")
    except InputError:
        raise
    except Image.DecompressionBombError:
        limit = f"at most {LOGO_PIXELS} pixels are read"
        raise InputError(field, "a picture of very many pixels", limit, "Give a smaller picture.") from None
    except Exception as error:  # the library raises many kinds on broken files; none of them is ours
        kind = f"{len(data)} bytes that are no whole picture ({type(error).__name__})"
        raise InputError(field, kind, "a PNG or JPEG is needed", "Save the logo as PNG.") from None
    seen.thumbnail(LOGO_SIZE)
    bare = Image.new("RGB", seen.size, "white")
    bare.paste(seen, mask=seen.getchannel("A"))
    out = io.BytesIO()
    bare.save(out, "PNG", optimize=True)
    return out.getvalue(), bare.size
