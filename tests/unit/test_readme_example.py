"""The README's example runs as it stands, is short, and loads little before it is asked for something."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

README = Path(__file__).resolve().parents[2] / "README.md"


def test_the_example_of_the_readme_runs(capsys) -> None:
    blocks = re.findall(r"```python\n(.*?)```", README.read_text(encoding="utf-8"), re.S)
    assert len(blocks) == 1
    lines = [line for line in blocks[0].splitlines() if line.strip()]
    assert len(lines) <= 8
    names: dict[str, object] = {}
    exec(compile("\n".join(lines), "README.md", "exec"), names)
    said = capsys.readouterr().out
    assert "weak_acid" in said and "governed_by" in said
    assert any(c.endswith("_USD") for c in names["money"].columns)


def test_importing_the_package_loads_no_heavy_library() -> None:
    code = "import sys, brewwater; print(*{m.split('.')[0] for m in sys.modules})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert not {"numpy", "pandas", "scipy", "pydantic", "streamlit", "pint", "sqlalchemy"} & set(done.stdout.split())
