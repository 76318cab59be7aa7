"""Who may open what, and from where: pure rules, so that they can be read and tested in one place.

Without sign-in there is one person, ``LOCAL``, and the front end listens to this machine only. With
Streamlit's OIDC sign-in the person is the verified e-mail address.
"""

from __future__ import annotations

import importlib.util
import ipaddress
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from brewwater.errors import InputError
from brewwater.log.entry import printable

LOCAL = "local"
_PROVIDER = ("client_id", "client_secret", "server_metadata_url")


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


def sign_in_configured(secrets: Mapping[str, Any]) -> bool:
    """Whether Streamlit's secrets set up OIDC sign-in: provider, redirect address, cookie secret."""
    auth = secrets.get("auth")
    if not isinstance(auth, Mapping):
        return False
    secret = auth.get("cookie_secret")
    if not isinstance(secret, str) or len(secret) < 32 or not auth.get("redirect_uri"):
        return False
    providers = [auth, *(part for part in auth.values() if isinstance(part, Mapping))]
    return any(all(isinstance(p.get(k), str) and p[k] for k in _PROVIDER) for p in providers)


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
            "Use 127.0.0.1, or set up [auth] in .streamlit/secrets.toml (redirect_uri, a cookie_secret of 32 "
            "characters or more, and a provider).",
        )
    if importlib.util.find_spec("authlib") is None:
        raise InputError(
            field,
            address,
            "sign-in is configured, and its library is not installed",
            "Install its fleet extra: pip install 'brewwater[fleet]'.",
        )


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


def may_open(person: str, owner: str, shared_with: Mapping[str, bool]) -> bool:
    """Whether a person may read a unit: the owner, and those it is shared with."""
    return person == owner or person in shared_with


def may_edit(person: str, owner: str, shared_with: Mapping[str, bool]) -> bool:
    """Whether a person may save to a unit: the owner, and those it is shared with for editing."""
    return person == owner or shared_with.get(person, False)
