"""What the store hands out, and the names it accepts."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from dataclasses import dataclass
from typing import Any

from brewwater.errors import InputError
from brewwater.log.entry import printable
from brewwater.store import access

_SLUG = re.compile(r"^[a-z0-9](?:[a-z0-9-]{0,58}[a-z0-9])?$")
_DEVICES = re.compile(r"^(?:con|prn|aux|nul|com\d|lpt\d)$")
_STEPS = re.compile(r"(?:^|[\\/])\.\.?(?:[\\/]|$)")


@dataclass(frozen=True, slots=True)
class Origin:
    """A file that a unit was restored from: what stands in it is as the file states it, names and dates too.

    signature : ``ours`` (by the key of this installation), ``other`` (by a key that is not known here), ``none``
    plans, lines : how many versions and log lines came from it, from the first on
    """

    restored_at: str
    restored_by: str
    exported_at: str
    signature: str
    plans: int
    lines: int

    @property
    def words(self) -> str:
        """One line for people."""
        signed = {"ours": "signed with this installation's key", "other": "signed with a key not known here"}
        by = f" by {self.restored_by}" if self.restored_by != access.LOCAL else ""
        return (
            f"restored on {self.restored_at[:10]}{by} from a file of {self.exported_at[:10]}, "
            f"{signed.get(self.signature, 'not signed')}: its names and dates are as that file states them"
        )


@dataclass(frozen=True, slots=True)
class SavedUnit:
    """A truck, trailer, cart or shop that the acting person may open.

    ``ref`` is what every call takes: the id for one's own, ``id@owner`` for one shared by another person.
    """

    id: str
    name: str
    owner: str
    ref: str
    may_edit: bool
    created_at: str
    origins: tuple[Origin, ...] = ()


@dataclass(frozen=True, slots=True)
class PlanVersion:
    """One version of a unit's plan; ``document`` is in the newest format, ``saved_as`` as it was saved."""

    version: int
    document: dict[str, Any]
    saved_at: str
    saved_by: str
    note: str
    saved_as: dict[str, Any]


@dataclass(frozen=True, slots=True)
class VersionLine:
    """One line of a plan's history; ``restored`` says from where, where it was not saved here."""

    version: int
    saved_at: str
    saved_by: str
    note: str
    restored: str = ""


def is_slug(text: str) -> bool:
    """Whether the text is a unit id: small letters, digits and hyphens, safe as a file name anywhere."""
    return bool(_SLUG.match(text)) and not _DEVICES.match(text)


def clean_name(name: str) -> str:
    """A unit's display name.

    Raises
    ------
    InputError : empty, too long, hidden characters, or written like a path to another folder
    """
    found = unicodedata.normalize("NFC", " ".join(name.split())) if printable(name, keep="\n\t") else ""
    if not found or len(found) > 120 or _STEPS.search(found):
        raise InputError(
            "unit",
            ascii(name) if not printable(name) else name,
            "a name of 1 to 120 plain characters is needed",
            "Give another name.",
        )
    return found


def slug_of(name: str) -> str:
    """The id for a name; a name without Latin letters or digits gets a short code."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    slug = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:48].strip("-")
    if not slug or _DEVICES.match(slug):
        slug = "-".join(filter(None, (slug, "unit", hashlib.sha256(name.encode()).hexdigest()[:8])))
    return slug
