"""A report handed from the process that reads it to the one that asked for it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from brewwater.reports.bounded import Limits, Watch, run
from brewwater.reports.report import Report


@cache
def _form() -> TypeAdapter[Report]:
    return TypeAdapter(Report)


def report_from(
    task: str, arguments: Mapping[str, Any], name: str, limits: Limits | None = None, watch: Watch | None = None
) -> Report:
    """The report that a task of ``bounded.TASKS`` reads, in a process of its own. Raises what ``bounded.run`` does."""
    return _form().validate_python(run(task, arguments, name, limits or Limits(), watch), strict=False)


def report_task(path: str, tell: Callable[[Any], None]) -> Any:
    """Read a file in this process, whatever it costs."""
    from brewwater.reports.files import read_file
    from brewwater.reports.reading import read_content

    del tell
    file = Path(path)
    return _form().dump_python(read_content(read_file(file), file.stem or file.name), mode="json")


def text_task(text: str, name: str, tell: Callable[[Any], None]) -> Any:
    """Read pasted text in this process, whatever it costs."""
    from brewwater.reports.files import plain
    from brewwater.reports.reading import read_content

    del tell
    return _form().dump_python(read_content(plain(text), name), mode="json")
