"""``brewwater app``: the front end, on this machine."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from brewwater.errors import InputError


@click.command()
@click.option("--address", default="127.0.0.1", help="Address to listen on; this machine only unless told otherwise.")
@click.option("--port", default="8501", help="Port to listen on.")
def app(address: str, port: str) -> None:
    """Open the front end."""
    import subprocess
    import sys
    import tomllib

    from brewwater.store import access

    if not port.isdigit() or not 1 <= int(port) <= 65535:
        raise InputError("--port", port, "a whole number from 1 to 65535 is needed", "Choose another port.")
    access.check_address(address)
    script, config = _front_end()
    flags = [
        *_as_flags(tomllib.loads(config.read_text(encoding="utf-8"))),
        f"--server.address={address}",
        f"--server.port={port}",
    ]
    raise SystemExit(subprocess.call([sys.executable, "-m", "streamlit", "run", str(script), *flags]))


def _front_end() -> tuple[Path, Path]:
    """The script and its settings: inside an installed wheel, or at the top of a checkout."""
    from importlib import resources

    packaged = Path(str(resources.files("brewwater.web")))
    if (packaged / "app.py").is_file():
        return packaged / "app.py", packaged / "config.toml"
    top = Path(str(resources.files("brewwater"))).parent
    return top / "app.py", top / ".streamlit" / "config.toml"


def _as_flags(settings: Mapping[str, Any], under: str = "") -> list[str]:
    """Streamlit's settings file as flags, so that the theme and the limits hold wherever the command is run."""
    found = []
    for key, value in settings.items():
        if isinstance(value, Mapping):
            found += _as_flags(value, f"{under}{key}.")
        else:
            found.append(f"--{under}{key}={str(value).lower() if isinstance(value, bool) else value}")
    return found
