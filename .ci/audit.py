"""Known vulnerabilities of the installed packages: ``python .ci/audit.py PYTHON`` (the interpreter to look at).

Exit status 1 where one is found. Where no service answers, it says "not audited" and passes: a machine without
network must still be able to test. That a service answers is proved first, with a release whose flaws are published;
a service that does not know them would pass anything.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

KNOWN_FLAWED = "requests==2.19.0"
SERVICES = ("pypi", "osv")
SECONDS = 180


def flaws(report: dict[str, Any]) -> list[str]:
    """Each flaw of a report of pip-audit, in one line."""
    return [
        f"{one['name']} {one['version']}: {flaw['id']}, fixed in {', '.join(flaw['fix_versions']) or 'no release'}"
        for one in report.get("dependencies", [])
        for flaw in one.get("vulns", [])
    ]


def skipped(report: dict[str, Any]) -> list[str]:
    """Packages that the service could not look at."""
    return [one["name"] for one in report.get("dependencies", []) if "skip_reason" in one]


def audit(service: str, pins: str) -> dict[str, Any] | None:
    """The report on pinned packages; None where nothing answered in time, empty where pip-audit gave no report."""
    with tempfile.TemporaryDirectory() as folder:
        listed = Path(folder) / "pins.txt"
        listed.write_text(pins, encoding="utf-8")
        command = [
            sys.executable,
            "-m",
            "pip_audit",
            "-s",
            service,
            "-f",
            "json",
            "--progress-spinner",
            "off",
            "--no-deps",
            "--disable-pip",
            "--timeout",
            "10",
            "-r",
            str(listed),
        ]
        try:
            ran = subprocess.run(command, capture_output=True, text=True, check=False, timeout=SECONDS)
            found = json.loads(ran.stdout)
        except subprocess.TimeoutExpired:
            return None
        except ValueError:
            print("pip-audit gave no report: " + ran.stderr.strip()[-500:])
            return {}
    return found if isinstance(found, dict) else {}


def main(python: str) -> int:
    """Audit what ``python`` has installed."""
    frozen = subprocess.run(
        [python, "-m", "pip", "freeze", "--exclude-editable"], capture_output=True, text=True, check=True
    )
    pins = "\n".join(row for row in frozen.stdout.splitlines() if "==" in row)
    service = next((s for s in SERVICES if flaws(audit(s, KNOWN_FLAWED) or {})), None)
    if service is None:
        print("not audited: no network (no service knows the published flaws of an old release)")
        return 0
    report = audit(service, pins)
    if report is None:
        print(f"not audited: no network (the service {service} stopped answering)")
        return 0
    if not report:
        print(f"{service} answers, but the audit gave no report")
        return 1
    found, left_out = flaws(report), skipped(report)
    print(f"audited with {service}: {len(report['dependencies']) - len(left_out)} packages, {len(found)} known flaws")
    if left_out:
        print("not audited, unknown to the service: " + ", ".join(left_out))
    print("\n".join(found))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
