"""Everything of one unit as one JSON file.

    {"format": "brewwater-unit", "format_version": 2, "exported_at": "...Z", "sha256": "...",
     "signature": "..." or null,
     "content": {"id", "name", "created_at",
                 "origins": [{"restored_at", "restored_by", "exported_at", "signature", "plans", "lines"}],
                 "plans": [{"version", "saved_at", "saved_by", "note", "document"}],   # 1, 2, 3 ...
                 "readings": [{"id", "date", "kind", "value", ...}],                   # in the order kept
                 "photos": [{"id", "line_id", "jpeg"}]}}       # base64; version 3, where there are any

``sha256`` is that of ``content`` written with sorted keys, no spaces, ASCII: it tells damage, and anyone can make it
anew. ``signature`` tells who wrote the file, where a key is set (``BREWWATER_SIGNING_KEY``, the same on every machine
of a firm): HMAC-SHA256 (RFC 2104) of ``exported_at``, a space and ``sha256``. Without it, what is restored is marked as
only stated by a file. Sharing is not in it: whoever restores the file owns the unit. Version 1 had neither origins nor
signature; version 2, which is still written where there are none, had no photos.
"""

from __future__ import annotations

import base64
import binascii
import contextlib
import hmac
import os
import stat
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, ValidationError

from brewwater.errors import InputError, StoreError
from brewwater.log.entry import Reading, ReadingId
from brewwater.log.photo import KEPT_BYTES, check_photo
from brewwater.records import Part
from brewwater.store.text import MAX_BUNDLE_BYTES, canonical, read_json, sha256

FORMAT = "brewwater-unit"
FORMAT_VERSION = 3
KEY_VARIABLE = "BREWWATER_SIGNING_KEY"
KEY_LENGTH = 32


class BundlePlan(Part):
    """One version of the plan as it was saved."""

    version: int = Field(ge=1)
    saved_at: str = Field(max_length=32)
    saved_by: str = Field(max_length=254)
    note: str = Field(max_length=400)
    document: dict[str, Any]


class BundleOrigin(Part):
    """A file from which the unit had been restored before it was exported."""

    restored_at: str = Field(max_length=32)
    restored_by: str = Field(max_length=254)
    exported_at: str = Field(max_length=32)
    signature: Literal["ours", "other", "none"]
    plans: int = Field(ge=0)
    lines: int = Field(ge=0)


class BundlePhoto(Part):
    """A photo of a log line; ``jpeg`` in base64."""

    id: ReadingId
    line_id: ReadingId
    jpeg: str = Field(max_length=4 * (KEPT_BYTES // 3 + 1))

    @classmethod
    def of(cls, photo_id: str, line_id: str, picture: bytes) -> BundlePhoto:
        """The photo with its picture."""
        return cls(id=photo_id, line_id=line_id, jpeg=base64.b64encode(picture).decode())

    def picture(self) -> bytes:
        """The picture, looked at: a file may have been written by anyone.

        Raises
        ------
        InputError : it is none
        """
        try:
            return check_photo(base64.b64decode(self.jpeg, validate=True))
        except binascii.Error:
            raise InputError("photo", self.id, "base64 is needed", "Give a file that brewwater exported.") from None


class Bundle(Part):
    """The content of the file."""

    id: str = Field(max_length=64)
    name: str = Field(max_length=120)
    created_at: str = Field(max_length=32)
    origins: tuple[BundleOrigin, ...] = ()
    plans: tuple[BundlePlan, ...] = ()
    readings: tuple[Reading, ...] = ()
    photos: tuple[BundlePhoto, ...] = ()


@dataclass(frozen=True, slots=True)
class BundleFile:
    """A file that was read: its content, when it was exported, and whose signature it bears (see ``Origin``)."""

    content: Bundle
    exported_at: str
    signature: Literal["ours", "other", "none"]


def signing_key() -> bytes | None:
    """The key of this installation, or None where none is set.

    Raises
    ------
    StoreError : it is too short to keep anyone from guessing it
    """
    text = os.environ.get(KEY_VARIABLE, "")
    if text and len(text) < KEY_LENGTH:
        raise StoreError(
            f"{KEY_VARIABLE} has {len(text)} characters; {KEY_LENGTH} or more are needed. Set a longer one."
        )
    return text.encode() or None


def _signature(key: bytes, exported_at: str, digest: str) -> str:
    return hmac.new(key, f"{exported_at} {digest}".encode(), "sha256").hexdigest()


def write(content: Bundle, exported_at: str) -> str:
    """The file's text, signed where a key is set."""
    body = content.model_dump(mode="json", exclude=None if content.photos else {"photos"})
    digest, key = sha256(canonical(body)), signing_key()
    frame = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION if content.photos else 2,
        "exported_at": exported_at,
        "sha256": digest,
        "signature": _signature(key, exported_at, digest) if key else None,
        "content": body,
    }
    return canonical(frame) + "\n"


def read(data: str | bytes) -> BundleFile:
    """The content of a file, whole and unchanged.

    Raises
    ------
    InputError : not such a file, changed since it was written, or a part cannot be used
    """
    frame = read_json(data, "file", MAX_BUNDLE_BYTES)
    remedy = "Give a file that brewwater exported."
    if frame.get("format") != FORMAT or not isinstance(frame.get("content"), dict):
        raise InputError("format", frame.get("format"), f"{FORMAT!r} is needed", remedy)
    version = frame.get("format_version")
    if version not in range(1, FORMAT_VERSION + 1):
        raise InputError("format_version", version, f"this one reads 1 to {FORMAT_VERSION}", "Update brewwater.")
    if sha256(canonical(frame["content"])) != frame.get("sha256"):
        raise InputError(
            "sha256",
            frame.get("sha256"),
            "the content was changed or cut short since",
            "Export it again, or take another copy.",
        )
    exported_at, signed = frame.get("exported_at"), frame.get("signature")
    if not isinstance(exported_at, str) or len(exported_at) > 32:
        raise InputError("exported_at", exported_at, "a time of at most 32 characters is needed", remedy)
    try:
        found = Bundle.model_validate(frame["content"])
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(p) for p in first["loc"])
        raise InputError(place, first.get("input"), first["msg"].removeprefix("Value error, "), remedy) from None
    if [plan.version for plan in found.plans] != list(range(1, len(found.plans) + 1)):
        raise InputError("plans", "versions with a gap", "versions 1, 2, 3 ... are needed", remedy)
    if signed is None:
        return BundleFile(found, exported_at, "none")
    key = signing_key()
    mine = key is not None and hmac.compare_digest(_signature(key, exported_at, str(frame["sha256"])), str(signed))
    return BundleFile(found, exported_at, "ours" if mine else "other")


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
        about = path.stat()
        if not stat.S_ISREG(about.st_mode):
            raise InputError("file", str(path), "it cannot be read: a plain file is needed", "Give an exported file.")
        if about.st_size > MAX_BUNDLE_BYTES:
            raise InputError("file", str(path), f"at most {MAX_BUNDLE_BYTES} bytes are read", "Give an exported file.")
        return path.read_bytes()
    except (OSError, ValueError) as error:
        raise InputError(
            "file", str(path), f"it cannot be read ({getattr(error, 'strerror', '') or error})", "Check the path."
        ) from None
