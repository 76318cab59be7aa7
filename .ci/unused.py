"""Public functions, methods and classes of the package that nothing in it calls: ``python .ci/unused.py``.

Found by vulture, which reads names only. What is called from outside the package (the public names of ``brewwater``)
or by a library (validators of pydantic, commands of click, handlers of the HTML parser) stands below with who calls it.
"""

from __future__ import annotations

import re
import subprocess
import sys

DECORATORS = "@field_validator*,@model_validator*,@validator*,@*.command*,@*.group*,@*.event*,@*.listens_for*,@overload"
CALLED_FROM_OUTSIDE = {
    "__getattr__": "Python, when a public name of the package is first asked for",
    "__dir__": "Python, for dir(brewwater)",
    "list_commands": "click",
    "get_command": "click",
    "report_task": "the process that reads reports, by its name in reports/bounded.py",
    "page_task": "the same",
    "scan_task": "the same",
    "once": "the same, from the command that starts it",
    "consumed_g": "whoever has an object of that protocol, by the currency's name",
    "buffer_capacity_eq_L": "users of brewwater.speciate",
    "too_saline": "users of brewwater.speciate",
    "_repr_html_": "a notebook",
    "handle_starttag": "html.parser",
    "handle_endtag": "html.parser",
    "handle_data": "html.parser",
}
# a second way to the same figure, which tests hold the program's own against
COMPARED_BY_TESTS = {
    "hazen_williams_psi_per_ft": "the friction formula of the pipe manual, beside Darcy's",
    "reject_water": "the mass balance of a membrane",
    "carbon_dioxide_released_mg_L": "the stoichiometry that handbooks print",
    "normal_log": "the plain likelihood, beside the joint one",
    "year_days": "the twelve months that cartridges are counted in",
}
LINE = re.compile(r"^(?P<where>\S+:\d+): unused (?P<kind>function|method|class|property) '(?P<name>\w+)'")


def main() -> int:
    """Print what nothing calls; exit status 1 where there is any."""
    ran = subprocess.run(
        [sys.executable, "-m", "vulture", "brewwater", "app.py", "--ignore-decorators", DECORATORS],
        capture_output=True,
        text=True,
        check=False,
    )
    if ran.returncode not in (0, 3):
        print(ran.stdout + ran.stderr)
        return 1
    found = [m for line in ran.stdout.splitlines() if (m := LINE.match(line))]
    left = [m for m in found if m["name"] not in CALLED_FROM_OUTSIDE | COMPARED_BY_TESTS]
    for one in left:
        print(f"{one['where']}: nothing calls the {one['kind']} {one['name']}")
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main())
