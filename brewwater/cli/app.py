"""``brewwater app``: the front end, on this machine."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from brewwater.errors import InputError


@click.command()
@click.option("--address", help="Address to listen on; this machine only unless told otherwise.")
@click.option("--port", default="8501", help="Port to listen on.")
@click.option("--phone", is_flag=True, help="Let the owner's phone in, over the local network, after a one-time code.")
@click.option("--phone-hours", default="12", help="How long a phone stays paired, 1 to 168 hours.")
@click.option("--forget-phones", is_flag=True, help="Shut out every paired phone, also of a running server, and end.")
def app(address: str | None, port: str, phone: bool, phone_hours: str, forget_phones: bool) -> None:
    """Open the front end."""
    import os
    import signal
    import subprocess
    import sys
    import tomllib

    from brewwater.store import access

    if not (port.isascii() and port.isdigit() and len(port) <= 5 and 1 <= int(port) <= 65535):
        raise InputError("--port", port, "a whole number from 1 to 65535 is needed", "Choose another port.")
    settings = dict(os.environ)
    settings.pop("BREWWATER_PHONE_HOURS", None)
    if forget_phones or phone:
        from brewwater.store import data_folder
        from brewwater.web.server.phone import Phones, hours_of

        if forget_phones:
            click.echo(f"Phones shut out: {Phones(data_folder()).forget()}")
            return
        if access.sign_in_configured(access.read_secrets()):
            raise InputError("--phone", "on", "sign-in is set up, and a phone signs in too", "Leave it out.")
        settings["BREWWATER_PHONE_HOURS"] = str(hours_of(phone_hours, "--phone-hours"))
        address = address or "0.0.0.0"
    else:
        address = address or "127.0.0.1"
        access.check_address(address)
    _check_database()
    script, config = _front_end()
    flags = [
        *_as_flags(tomllib.loads(config.read_text(encoding="utf-8"))),
        f"--server.address={address}",
        f"--server.port={port}",
        "--logger.hideWelcomeMessage=true",  # of a server open to others it would ask a host elsewhere for its address
    ]
    if not phone:
        click.echo(f"brewwater is at http://{f'[{address}]' if ':' in address else address}:{port} (Ctrl-C ends it)")
    process = subprocess.Popen([sys.executable, "-m", "streamlit", "run", str(script), *flags], env=settings)
    # the terminal tells the server too, which then closes the open pages: this process only waits for it
    stopped: list[int] = []
    signal.signal(signal.SIGINT, lambda number, frame: stopped.append(number))
    status = process.wait()
    raise SystemExit(130 if stopped else status if status >= 0 else 128 - status)


def _check_database() -> None:
    from brewwater.store import access, database_url

    access.check_alone(database_url().get_backend_name())


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
