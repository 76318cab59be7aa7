"""A photo of the log: bounded in bytes and pixels, encoded anew, with nothing in it but the picture.

What a camera writes beside the picture (place, time, device, the owner's name) is left out.
"""

from __future__ import annotations

import io

from brewwater.errors import InputError

SENT_BYTES = 12_000_000
SENT_PIXELS = 60_000_000
MOST_PX = 1600  # the longer side, as kept
KEPT_BYTES = 400_000
_FORMATS = ("JPEG", "PNG", "WEBP")
_QUALITIES = (82, 70, 55, 40, 25, 10)
_REMEDY = "Take it again with the camera, or choose another picture."


def clean_photo(data: bytes) -> bytes:
    """The picture as a JPEG of at most ``MOST_PX`` and ``KEPT_BYTES``, upright, without what stood beside it.

    Raises
    ------
    InputError : too large, or no picture in JPEG, PNG or WebP
    """
    from PIL import Image, ImageOps

    if len(data) > SENT_BYTES:
        raise InputError("photo", f"{len(data)} bytes", f"at most {SENT_BYTES} bytes are taken", _REMEDY)
    try:
        with Image.open(io.BytesIO(data), formats=_FORMATS) as found:
            if found.width * found.height > SENT_PIXELS:
                shown = f"{found.width} x {found.height}"
                raise InputError("photo", shown, f"at most {SENT_PIXELS} pixels are taken", _REMEDY)
            found.draft("RGB", (MOST_PX, MOST_PX))  # a large JPEG is not decoded in full
            upright = ImageOps.exif_transpose(found).convert("RGB")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        raise InputError("photo", f"{len(data)} bytes", "a whole JPEG, PNG or WebP is needed", _REMEDY) from None
    upright.thumbnail((MOST_PX, MOST_PX))
    bare = Image.new("RGB", upright.size)  # a new one carries no comment and no tag
    bare.paste(upright)
    for quality in _QUALITIES:
        out = io.BytesIO()
        bare.save(out, "JPEG", quality=quality, optimize=True)
        if out.tell() <= KEPT_BYTES:
            return out.getvalue()
    raise InputError("photo", f"{out.tell()} bytes", f"at most {KEPT_BYTES} are kept", _REMEDY)


def check_photo(data: bytes) -> bytes:
    """The same bytes, where they are a picture as ``clean_photo`` makes them.

    Raises
    ------
    InputError : they are not
    """
    from PIL import Image

    try:
        with Image.open(io.BytesIO(data), formats=("JPEG",)) as found:
            beside = set(found.info) - {"jfif", "jfif_version", "jfif_unit", "jfif_density", "dpi"}
            small = max(found.size) <= MOST_PX and len(data) <= KEPT_BYTES
            if small:
                found.load()  # to its end
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        small, beside = False, set()
    if not small or beside:
        limit = f"a JPEG of at most {MOST_PX} px and {KEPT_BYTES} bytes, with nothing beside the picture, is needed"
        raise InputError("photo", f"{len(data)} bytes", limit, "Add the picture anew.")
    return data
