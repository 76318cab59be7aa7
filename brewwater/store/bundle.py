"""Everything of one unit as one JSON file.

    {"format": "brewwater-unit", "format_version": 1, "exported_at": "...Z", "sha256": "...",
     "content": {"id", "name", "created_at",
                 "plans": [{"version", "saved_at", "saved_by", "note", "document"}],   # 1, 2, 3 ...
                 "readings": [{"id", "date", "kind", "value", ...}]}}                  # in the order kept

``sha256`` is that of ``content`` written with sorted keys, no spaces, ASCII. Sharing is not in it: whoever
restores the file owns the unit.
"""

from __future__ import annotations

import contextlib
import os
import uuid
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError

from brewwater.errors import InputError, StoreError
from brewwater.log.entry import Reading
from brewwater.records import Part
from brewwater.store.text import MAX_BUNDLE_BYTES, canonical, read_json, sha256

FORMAT = "brewwater-unit"
FORMAT_VERSION = 1


class BundlePlan(Part):
    """One version of the plan as it was saved."""

    version: int = Field(ge=1)
    saved_at: str = Field(max_length=32)
    saved_by: str = Field(max_length=254)
    note: str = Field(max_length=400)
    document: dict[str, Any]


class Bundle(Part):
    """The content of the file."""

    id: str = Field(max_length=64)
    name: str = Field(max_length=120)
    created_at: str = Field(max_length=32)
    plans: tuple[BundlePlan, ...] = ()
    readings: tuple[Reading, ...] = ()


def write(content: Bundle, exported_at: str) -> str:
    """The file's text."""
    body = content.model_dump(mode="json")
    frame = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "exported_at": exported_at,
        "sha256": sha256(canonical(body)),
        "content": body,
    }
    return canonical(frame) + "\n"


def read(data: str | bytes) -> Bundle:
    """The content of a file, whole and unchanged.

    Raises
    ------
    InputError : not such a file, changed since it was written, or a part cannot be used
    """
    frame = read_json(data, "file", MAX_BUNDLE_BYTES)
    remedy = "Give a file that brewwater exported."
    if frame.get("format") != FORMAT or not isinstance(frame.get("content"), dict):
        raise InputError("format", frame.get("format"), f"{FORMAT!r} is needed", remedy)
    if frame.get("format_version") != FORMAT_VERSION:
        raise InputError(
            "format_version", frame.get("format_version"), f"this one reads {FORMAT_VERSION}", "Update brewwater."
        )
    if sha256(canonical(frame["content"])) != frame.get("sha256"):
        raise InputError(
            "sha256",
            frame.get("sha256"),
            "the content was changed or cut short since",
            "Export it again, or take another copy.",
        )
    try:
        found = Bundle.model_validate(frame["content"])
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(p) for p in first["loc"])
        raise InputError(place, first.get("input"), first["msg"].removeprefix("Value error, "), remedy) from None
    if [plan.version for plan in found.plans] != list(range(1, len(found.plans) + 1)):
        raise InputError("plans", "versions with a gap", "versions 1, 2, 3 ... are needed", remedy)
    return found


def write_file(path: Path, text: str) -> None:
    """Write a whole file or none: first beside it, then renamed.

    Raises
    ------
    StoreError : the file could not be written; what was there is unharmed
    """
    part = path.with_name(f".{uuid.uuid4().hex}.part")
    try:
        with part.open("x", encoding="utf-8") as handle:
            handle.write(text)
            handle.flush()
            os.fsync(handle.fileno())
        os.replace(part, path)
    except OSError as error:
        raise StoreError(f"file: {path} could not be written ({error.strerror}). Choose another folder.") from None
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def read_file(path: Path) -> bytes:
    """The bytes of a file within the limit.

    Raises
    ------
    InputError : not there, not readable, or too large
    """
    try:
        if path.stat().st_size > MAX_BUNDLE_BYTES:
            raise InputError("file", str(path), f"at most {MAX_BUNDLE_BYTES} bytes are read", "Give an exported file.")
        return path.read_bytes()
    except (OSError, ValueError) as error:
        raise InputError(
            "file", str(path), f"it cannot be read ({getattr(error, 'strerror', '') or error})", "Check the path."
        ) from None
