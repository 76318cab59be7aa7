"""JSON as the store keeps it: one spelling, a size limit, nothing that cannot be written back."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from typing import Any

from brewwater.errors import InputError
from brewwater.log.entry import printable

MAX_DOCUMENT_BYTES = 1_000_000
MAX_BUNDLE_BYTES = 256_000_000
MAX_DEPTH = 40


def _not_a_number(word: str) -> float:
    raise ValueError(f"{word} is not a number")


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a field stands twice")
    return found


def read_json(data: str | bytes, field: str, limit: int = MAX_DOCUMENT_BYTES) -> dict[str, Any]:
    """A JSON object from text that anyone may have written.

    Raises
    ------
    InputError : too large, not UTF-8, not JSON, nested too deeply, not an object, a field twice, no number
    """
    if len(data) > limit:
        raise InputError(field, f"{len(data)} characters", f"at most {limit} are accepted", "Give a smaller file.")
    try:
        found = json.loads(data, parse_constant=_not_a_number, object_pairs_hook=_unique)
    except RecursionError:
        raise InputError(
            field, "nested lists", f"at most {MAX_DEPTH} levels are accepted", "Give a file that brewwater wrote."
        ) from None
    except ValueError as error:  # covers JSON and UTF-8 faults and over-long numbers
        raise InputError(
            field, str(data[:40]), f"it is not readable as JSON ({error})", "Give a file that brewwater wrote."
        ) from None
    if not isinstance(found, dict):
        raise InputError(field, type(found).__name__, "a JSON object is needed", "Give a file that brewwater wrote.")
    check_plain(found, field)
    return found


def check_plain(value: object, field: str, depth: int = 0) -> None:
    """Refuse what JSON, a database or a page cannot carry.

    Raises
    ------
    InputError : names the place in the document
    """
    where = field if len(field) <= 120 else "..." + field[-117:]
    if depth > MAX_DEPTH:
        raise InputError(where, "nested lists", f"at most {MAX_DEPTH} levels are accepted", "Flatten it.")
    if isinstance(value, str):
        if not printable(value, keep="\n\t\r"):
            raise InputError(where, ascii(value), "it holds a character that cannot be shown", "Remove it.")
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            if not isinstance(key, str) or not printable(key):
                raise InputError(where, ascii(key), "a field's name must be plain text", "Rename it.")
            check_plain(inner, f"{field}.{key[:60]}", depth + 1)
    elif isinstance(value, list | tuple):
        for number, inner in enumerate(value):
            check_plain(inner, f"{field}[{number}]", depth + 1)
    elif isinstance(value, float):
        if not math.isfinite(value):
            raise InputError(where, value, "a finite number is needed", "Correct it.")
    elif isinstance(value, int):
        if abs(value) > 2**63:
            raise InputError(where, "a whole number of many digits", "at most 2^63 is accepted", "Correct it.")
    elif value is not None:
        raise InputError(
            where, type(value).__name__, "only text, numbers, lists and objects can be kept", "Correct it."
        )


def canonical(value: object) -> str:
    """The one spelling of a JSON value: sorted keys, no spaces, ASCII."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)


def sha256(text: str) -> str:
    """SHA-256 of a text, in hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


def document_text(document: Mapping[str, Any]) -> str:
    """The canonical text of a plan document within the limits of the store.

    Raises
    ------
    InputError : too large, or it holds something that cannot be kept
    """
    check_plain(document, "plan")
    text = canonical(document)
    if len(text) > MAX_DOCUMENT_BYTES:
        raise InputError("plan", f"{len(text)} bytes", f"at most {MAX_DOCUMENT_BYTES} are kept", "Shorten its notes.")
    return text
