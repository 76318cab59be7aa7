"""The command line loads a library when a command needs it: help and a mistyped option must not pay for it."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = {"numpy", "pandas", "scipy", "streamlit", "pydantic", "pint", "pyarrow", "sqlalchemy", "altair"}


def loaded_after(code: str) -> set[str]:
    """The top-level modules that a fresh interpreter holds after ``code``."""
    told = f"import sys\n{code}\nprint('\\n'.join({{m.split('.')[0] for m in sys.modules}}), file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True, timeout=60)
    return set(done.stderr.split())


@pytest.mark.parametrize(
    "code",
    [
        "import brewwater.cli",
        "from brewwater.cli import main; main(['--help'])",
        "from brewwater.cli import COMMANDS, main; [main([name, '--help']) for name in COMMANDS]",
    ],
    ids=["import", "help", "help of every command"],
)
def test_the_command_line_starts_light(code: str) -> None:
    loaded = loaded_after(code)
    assert "click" in loaded  # the list is a real one
    assert not loaded & HEAVY
