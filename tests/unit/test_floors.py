"""The floors of the house: a module imports only from floors below its own, or its own without a circle."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import brewwater

PACKAGE = Path(brewwater.__file__).parent
FLOORS = [
    {"errors", "files", "records", "units", "reference", "cores", "escape"},
    {"chemistry"},
    {"ensemble", "water"},
    {"reports", "supply", "demand", "treatment"},
    {"plumbing", "verdicts"},
    {"changes", "cost", "log"},
    {"planning"},
    {"plan"},
    {"store", "output"},
    {"web", "cli", "__main__"},
]
FLOOR = {room: number for number, rooms in enumerate(FLOORS) for room in rooms}
# Who alone may import a library, by room.
ONLY = {"pint": {"units"}, "streamlit": {"web"}, "sqlalchemy": {"store", "web"}, "fluids": {"plumbing"}}


def modules() -> list[Path]:
    return sorted(p for p in PACKAGE.rglob("*.py") if p.name != "__init__.py" or p.parent != PACKAGE)


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            assert node.module
            found |= {f"{node.module}.{a.name}" for a in node.names} if node.module == "brewwater" else {node.module}
    return found


def test_every_room_has_a_floor() -> None:
    assert {room_of(p) for p in modules()} - {"reference_data"} <= set(FLOOR)


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_down(path: Path) -> None:
    here = FLOOR[room_of(path)]
    for name in imports(path):
        parts = name.split(".")
        if parts[0] == "brewwater" and len(parts) > 1 and parts[1] != room_of(path):
            assert FLOOR[parts[1]] <= here, f"{path.name} (floor {here}) imports {name} (floor {FLOOR[parts[1]]})"


def test_no_circle_between_rooms() -> None:
    graph: dict[str, set[str]] = {}
    for path in modules():
        rooms = {n.split(".")[1] for n in imports(path) if n.startswith("brewwater.")} - {room_of(path)}
        graph.setdefault(room_of(path), set()).update(rooms)
    done: set[str] = set()

    def walk(room: str, trail: tuple[str, ...]) -> None:
        assert room not in trail, " -> ".join((*trail, room))
        if room not in done:
            for other in graph.get(room, ()):
                walk(other, (*trail, room))
            done.add(room)

    for room in graph:
        walk(room, ())


@pytest.mark.parametrize("library", ONLY)
def test_only_one_room_imports(library: str) -> None:
    users = {room_of(p) for p in modules() if any(n.split(".")[0] == library for n in imports(p))}
    assert users <= ONLY[library]


def test_only_reference_reads_the_tables() -> None:
    readers = {room_of(p) for p in modules() if "reference_data" in p.read_text(encoding="utf-8")}
    assert readers <= {"reference"}


def test_no_two_classes_have_one_name() -> None:
    places: dict[str, list[str]] = {}
    for path in modules():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                places.setdefault(node.name, []).append(f"{path.relative_to(PACKAGE)}:{node.lineno}")
    assert {name: at for name, at in places.items() if len(at) > 1} == {}
