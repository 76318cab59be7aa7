"""Who may open what, and from where: pure rules, so that they can be read and tested in one place.

Without sign-in there is one person, ``LOCAL``, and the front end answers this machine only (and a phone that its
owner has paired). With Streamlit's OIDC sign-in the person is the verified e-mail address.
"""

from __future__ import annotations

import importlib.util
import ipaddress
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from brewwater.errors import InputError
from brewwater.log.entry import printable
from brewwater.store.text import canonical, sha256

LOCAL = "local"
SESSION_HOURS, MOST_SESSION_HOURS = 12, 168
_PROVIDER = ("client_id", "client_secret", "server_metadata_url")
_LIBRARIES = ("authlib", "httpx")  # what Streamlit signs people in with
_HOST = re.compile(r"(?P<name>\[[0-9a-f:.]+\]|[a-z0-9_](?:[a-z0-9._-]*[a-z0-9_])?)\.?(?::(?P<port>[0-9]{1,5}))?")
# What proxies add to a request they pass on (RFC 7239, RFC 9110, RFC 8586, and the customary ones before them).
_FORWARDING = frozenset(
    {"forwarded", "forwarded-for", "via", "cdn-loop", "x-real-ip", "x-client-ip", "x-cluster-client-ip"}
    | {"true-client-ip", "cf-connecting-ip", "x-original-host", "x-envoy-external-address"}
)
_SIGN_IN_REMEDY = (
    "set up [auth] in .streamlit/secrets.toml (redirect_uri, a cookie_secret of 32 characters or more, and a provider)."
)


def is_loopback(address: str) -> bool:
    """Whether only this machine can reach a server on ``address``; a name other than localhost is not."""
    text = address.strip().lower().removeprefix("[").removesuffix("]")
    if text == "localhost":
        return True
    try:
        found = ipaddress.ip_address(text)
    except ValueError:
        return False
    mapped = getattr(found, "ipv4_mapped", None)
    return (mapped or found).is_loopback


def providers(secrets: Mapping[str, Any]) -> tuple[str, ...]:
    """The identity providers that Streamlit's secrets set up, by name; the one that stands in ``[auth]`` itself is
    ``""``. Empty where sign-in is not set up in whole: provider, redirect address, cookie secret."""
    auth = secrets.get("auth")
    if not isinstance(auth, Mapping):
        return ()
    secret = auth.get("cookie_secret")
    if not isinstance(secret, str) or len(secret) < 32 or not auth.get("redirect_uri"):
        return ()
    found = {"": auth, **{str(k): part for k, part in auth.items() if isinstance(part, Mapping)}}
    return tuple(n for n, part in found.items() if all(isinstance(part.get(k), str) and part[k] for k in _PROVIDER))


def sign_in_configured(secrets: Mapping[str, Any]) -> bool:
    """Whether Streamlit's secrets set up OIDC sign-in."""
    return bool(providers(secrets))


def read_secrets(*folders: Path) -> dict[str, Any]:
    """Streamlit's secrets as it would find them: the home folder's, then this folder's on top."""
    found: dict[str, Any] = {}
    for folder in folders or (Path.home(), Path.cwd()):
        try:
            found |= tomllib.loads((folder / ".streamlit" / "secrets.toml").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            continue
    return found


def check_address(address: str, secrets: Mapping[str, Any] | None = None, field: str = "--address") -> None:
    """Refuse to serve other machines while no sign-in is configured; ``field`` is the option that named the address.

    Raises
    ------
    InputError : the address is not loopback and there is no sign-in
    """
    if is_loopback(address):
        return
    if not sign_in_configured(read_secrets() if secrets is None else secrets):
        raise InputError(
            field,
            address,
            "other machines could open it, and no sign-in is configured",
            f"Use 127.0.0.1, or {_SIGN_IN_REMEDY}",
        )
    check_libraries(field, address)


def check_libraries(field: str = "[auth]", value: str = "set up") -> None:
    """Refuse where sign-in is configured and cannot work.

    Raises
    ------
    InputError : a library that it needs is not installed
    """
    missing = [name for name in _LIBRARIES if importlib.util.find_spec(name) is None]
    if missing:
        raise InputError(
            field,
            value,
            f"sign-in is configured, and its library is not installed ({', '.join(missing)})",
            "Install its fleet extra: pip install 'brewwater[fleet]'.",
        )


def check_alone(backend: str, secrets: Mapping[str, Any] | None = None) -> None:
    """Refuse to open the front end on a database that others use too while no sign-in is configured.

    ``backend`` is the kind of the database, ``sqlite`` or ``postgresql``. The command line does not ask: whoever
    holds the address of the database reads it with or without brewwater.

    Raises
    ------
    InputError : it is a server's database and there is no sign-in
    """
    if backend == "sqlite" or sign_in_configured(read_secrets() if secrets is None else secrets):
        return
    raise InputError(
        "BREWWATER_DATABASE_URL",
        f"a {backend} database",
        "others may keep units in it, and without sign-in everybody would be the same person",
        f"Use a SQLite file, or {_SIGN_IN_REMEDY}",
    )


def forwarding(names: Iterable[str]) -> str | None:
    """The first name among a request's headers (small letters) that a proxy puts there; None where there is none."""
    return next((n for n in names if n in _FORWARDING or n.startswith(("x-forwarded", "x-original-forwarded"))), None)


def host_name(header: str) -> str | None:
    """The name or address in a ``Host`` header, small letters, without port and brackets; None where it is no host."""
    found = _HOST.fullmatch(header.strip().lower())
    return found["name"].strip("[]") if found and int(found["port"] or 0) <= 65535 else None


def hosts_named(secrets: Mapping[str, Any], setting: str = "") -> frozenset[str]:
    """The names under which the keeper serves: ``setting`` (``BREWWATER_HOSTS``, commas between them), ``hosts`` under
    ``[brewwater]`` in the secrets, and the host of the sign-in's redirect address."""
    section, auth = secrets.get("brewwater"), secrets.get("auth")
    listed = section.get("hosts", ()) if isinstance(section, Mapping) else ()
    names = [*setting.split(","), *([listed] if isinstance(listed, str) else listed)]
    if isinstance(auth, Mapping) and sign_in_configured(secrets):
        names.append(urlsplit(str(auth["redirect_uri"])).netloc)
    return frozenset(found for name in names if (found := host_name(str(name))))


def host_allowed(header: str | None, arrived_at: str | None, named: frozenset[str]) -> bool:
    """Whether a request may ask for this host: a loopback name, one that the keeper named, or the very address at
    which the connection arrived. Any other name may be a page elsewhere that pointed its own name here."""
    name = host_name(header or "")
    if name is None:
        return False
    return (
        is_loopback(name)
        or name in named
        or (arrived_at is not None and bool(_plain(name)) and _plain(name) == _plain(arrived_at))
    )


def origin_allowed(origin: str, host: str, named: frozenset[str]) -> bool:
    """Whether a page of ``origin`` may ask: one from this very host and port, or from a host that the keeper named."""
    try:
        found = urlsplit(origin.strip().lower())
    except ValueError:
        return False
    if found.scheme not in ("http", "https") or not found.netloc:
        return False
    return found.netloc == host.strip().lower() or host_name(found.netloc) in named


def _plain(address: str) -> str:
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return ""
    return str(getattr(found, "ipv4_mapped", None) or found)


def person_id(email: object, *, verified: object = True) -> str:
    """The name under which a signed-in person's units are kept: the e-mail address in small letters.

    ``verified`` is the identity provider's ``email_verified`` claim; an address that anyone may have typed
    opens nothing.

    Raises
    ------
    InputError : no usable, verified address
    """
    text = email.strip().lower() if isinstance(email, str) else ""
    name, _, host = text.rpartition("@")
    if verified is not True or not name or not host or len(text) > 254 or not printable(text) or " " in text:
        raise InputError(
            "sign-in",
            email if isinstance(email, str) else "no address",
            "a verified e-mail address is needed",
            "Sign in with another account.",
        )
    return text


@dataclass(frozen=True, slots=True)
class SignIn:
    """One sign-in of one person.

    person : their name (see ``person_id``)
    session : tells this sign-in from every other, in small hexadecimal digits; the provider's tokens cannot be read
        from it
    at : when the provider signed them in, seconds since 1970
    """

    person: str
    session: str
    at: float

    @classmethod
    def of(cls, claims: Mapping[str, Any]) -> SignIn:
        """The sign-in behind the claims of an identity token, whose signature and time were checked when it came.

        Raises
        ------
        InputError : no usable, verified address, or no time of sign-in
        """
        person, at = person_id(claims.get("email"), verified=claims.get("email_verified")), claims.get("iat")
        if isinstance(at, bool) or not isinstance(at, int | float) or not 0 < at < 1e11:
            raise InputError("sign-in", repr(at)[:40], "the time of sign-in is needed (iat)", "Ask the keeper.")
        plain = {k: v for k, v in claims.items() if isinstance(v, str | int | float | bool)}
        return cls(person, sha256(canonical(plain)), float(at))


def session_hours(secrets: Mapping[str, Any]) -> int:
    """How long a sign-in lasts: ``session_hours`` under ``[brewwater]`` in the secrets, 12 where it says nothing.

    Raises
    ------
    InputError : no whole number from 1 to ``MOST_SESSION_HOURS``
    """
    section = secrets.get("brewwater")
    found = section.get("session_hours", SESSION_HOURS) if isinstance(section, Mapping) else SESSION_HOURS
    if isinstance(found, bool) or not isinstance(found, int) or not 1 <= found <= MOST_SESSION_HOURS:
        raise InputError(
            "session_hours",
            str(found)[:40],
            f"a whole number of hours from 1 to {MOST_SESSION_HOURS} is needed",
            "Correct it under [brewwater] in .streamlit/secrets.toml.",
        )
    return found


def may_open(person: str, owner: str, shared_with: Mapping[str, bool]) -> bool:
    """Whether a person may read a unit: the owner, and those it is shared with."""
    return person == owner or person in shared_with


def may_edit(person: str, owner: str, shared_with: Mapping[str, bool]) -> bool:
    """Whether a person may save to a unit: the owner, and those it is shared with for editing."""
    return person == owner or shared_with.get(person, False)
