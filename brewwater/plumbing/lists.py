"""Lists for this tree: commissioning, winter, sanitising, a cartridge change, cautions, adapters to buy."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from brewwater import reference
from brewwater.errors import InputError
from brewwater.plumbing.parts import Branch, Unit
from brewwater.plumbing.tanks import sanitising
from brewwater.plumbing.tree import Node, PlumbingTree
from brewwater.treatment import Stage, medium_class
from brewwater.units import plain

HOT = "Power off and cool, valve closed, pressure off: hot water and steam scald."
RELIEF = "Never plug or cap the relief valve, and fit no valve before it or after it: the heater can explode."
ELECTRIC = "Electricity near water: ground-fault protection on every outlet, and a licensed electrician."
LICENSED = "Gas, mains and heaters are a licensed trade's work; local code goes before this list."
MACHINES = frozenset({"espresso_machine", "brewer", "hot_water", "ice"})
FREEZES = frozenset({"pump", "meter", "heater", "accumulator", "stage", "regulator", "backflow_preventer", "fixture"})


@dataclass(frozen=True, slots=True)
class Step:
    """One step: ``part`` it is about, ``text``, and a ``caution`` where work can hurt someone."""

    part: str
    text: str
    caution: str = ""


def cautions(tree: PlumbingTree) -> tuple[str, ...]:
    """The cautions that this tree's parts call for."""
    kinds = {n.kind for n in tree.nodes}
    found = [LICENSED]
    if kinds & {"pump", "heater"}:
        found.append(ELECTRIC)
    if "heater" in kinds:
        found += [RELIEF, "Drain a heater only with its power off: a dry element burns out.", HOT]
    if kinds & {"regulator", "backflow_preventer"}:
        found.append("City pressure can exceed what a housing bears: keep the regulator set and its gauge in sight.")
    if "arrestor" in kinds or "fixture" in kinds:
        found.append("A quick valve hammers: an arrestor at each saves bowls and fittings (ASSE 1010).")
    if "pump" in kinds:
        found.append("A starved pump cavitates: coarse strainer only on its suction, short and wide hose.")
    if "stage" in kinds:
        found.append("Dechlorinated water has no protection left: do not store it; flush what stood.")
    return tuple(found)


def _fixtures(tree: PlumbingTree) -> list[Node]:
    return [n for n in tree.in_order() if n.kind == "fixture"]


def _named(tree: PlumbingTree, kind: str) -> list[str]:
    return [n.name for n in tree.in_order() if n.kind == kind]


def commissioning(tree: PlumbingTree, stages: Sequence[Stage]) -> tuple[Step, ...]:
    """From the source on: close, fill section by section, look for leaks, then flush each new cartridge.

    Raises
    ------
    InputError : the tree cannot be walked
    """
    by_name = {s.name: s for s in stages}
    steps = [Step("all", "Close every valve and drain; leave the fixtures' electricity off.", ELECTRIC)]
    for node in tree.in_order():
        if node.kind == "fresh_tank":
            steps.append(Step(node.name, f"Sanitise and flush the {node.name}, then fill it."))
        elif node.kind == "isolator":
            after = [n.name for n in (*tree.children(node.name), *tree.fed_cold(node.name))]
            steps.append(
                Step(node.name, f"Open {node.name} slowly; look for leaks as far as {', '.join(after) or 'its end'}.")
            )
        elif node.kind == "pump":
            steps.append(Step(node.name, f"Run {node.name} until it stops; it must not start again while nothing draws.", ELECTRIC))  # fmt: skip  # noqa: E501
        elif node.kind == "regulator":
            steps.append(Step(node.name, f"Set {node.name} on its gauge, with water flowing."))
        elif node.kind == "heater":
            steps.append(
                Step(
                    node.name,
                    f"Fill {node.name} until its tap runs without air, lift the relief "
                    "valve once, only then switch it on.",
                    f"{RELIEF} {LICENSED}",
                )
            )
        elif node.kind == "stage" and node.name in by_name:
            steps.append(
                Step(
                    node.name,
                    f"Flush {node.name} to waste: {_flush(by_name[node.name])} before the next part sees its water.",
                )
            )
        elif node.kind == "fixture":
            steps.append(
                Step(
                    node.name,
                    f"Draw at {node.name} until it runs clear; write down the pressure while the others draw.",
                )
            )
    steps.append(
        Step("all", "Test the water at each machine before the first cup, and write down the clean pressure drop.")
    )
    return tuple(steps)


def _flush(stage: Stage) -> str:
    span = stage.sheet.flush_gal or medium_class(stage.medium, stage.size).flush_gal
    return (
        "as its sheet says" if span is None or span.high == 0 else f"{plain(span.low, 6)} to {plain(span.high, 6)} gal"
    )


def winter(tree: PlumbingTree) -> tuple[Step, ...]:
    """Drain-down in order: power, source, heater, fixtures, drains, then what holds water after draining.

    Raises
    ------
    InputError : the tree cannot be walked
    """
    nodes = tree.in_order()
    steps = [Step("all", "Switch pump, heater and machines off; let hot water cool.", HOT)]
    steps += [Step(n, f"Close {n}.") for n in _named(tree, "isolator")[:1]]
    steps += [
        Step(n, f"Drain {n} by its own drain, with its tap open.", f"{HOT} Only with its power off.")
        for n in _named(tree, "heater")
    ]
    steps += [Step(f.name, f"Open {f.name}, so that air gets in.") for f in _fixtures(tree)]
    steps += [Step(n.name, f"Open {n.name} and leave it open.") for n in nodes if n.kind == "drain"]
    steps += [
        Step(n, f"Take the cartridge of {n} out; a wet one that froze is thrown away, however it looks.")
        for n in _named(tree, "stage")
    ]
    held = [n.name for n in nodes if n.kind in FREEZES and n.kind != "stage"]
    steps.append(
        Step(
            "all",
            f"Water stays after draining in: {', '.join(held)}. Blow it out or bring them where it does not freeze.",
            "Only potable antifreeze, never through cartridges; through a machine only where its manual allows.",
        )
    )
    return tuple(steps)


def sanitise(
    tree: PlumbingTree,
    unit: Unit,
    branches: Sequence[Branch],
    strength_percent: float,
    rule: str = "mobile_unit",
) -> tuple[Step, ...]:
    """Sanitising the tank and the lines, cartridges out first, machines shut off.

    Raises
    ------
    InputError : no fresh tank is given, an unknown rule, a strength that is not sold, a tree that cannot be walked
    """
    if unit.fresh_tank_gal is None:
        raise InputError("fresh_tank_gal", "not given", "the dose is worked for the tank's volume", "Give its gallons.")
    dose = sanitising(unit.fresh_tank_gal, strength_percent, rule)
    never = (
        "Never mix bleach with an acid descaler or anything else: it gives off chlorine gas. Gloves and eye protection."
    )
    steps = [
        Step(n, f"Take the cartridge of {n} out, or set its bypass: chlorine spends carbon and ruins a membrane.")
        for n in _named(tree, "stage")
    ]
    steps.append(
        Step(
            "fresh tank",
            f"Half fill the tank; add {plain(dose.bleach_fl_oz)} fl oz of plain bleach of "
            f"{plain(strength_percent, 6)} % and fill it: {dose.chlorine_mg_L:.0f} mg/L ({dose.source}).",
            never,
        )
    )
    machines = {b.name for b in branches if b.kind in MACHINES or b.machine is not None}
    for at in _fixtures(tree):
        if at.name in machines:
            steps.append(
                Step(at.name, f"Shut the valve of {at.name}: no chlorine through it unless its manual says how.")
            )
        else:
            steps.append(Step(at.name, f"Draw at {at.name}, hot and cold, until it smells of chlorine."))
    minutes = dose.contact_hours * 60
    wait = f"{plain(dose.contact_hours, 6)} h" if minutes >= 60 else f"{minutes:.0f} min"
    steps += [
        Step("all", f"Let it stand {wait}."),
        Step(
            "all",
            "Drain it to the sewer, never to a storm drain or the ground; fill and flush until the smell is gone.",
        ),
        Step("all", "Put the cartridges back, flush them, and test the chlorine at each machine before serving."),
    ]
    return tuple(steps)


def change(tree: PlumbingTree, name: str, stages: Sequence[Stage] = ()) -> tuple[Step, ...]:
    """Changing one cartridge: the valves on each side of it by name.

    Raises
    ------
    InputError : the stage is not in the tree
    """
    before = next((n.name for n in tree.upstream(name) if n.kind == "isolator"), None)
    after = next((n.name for n in tree.downstream(name) if n.kind == "isolator"), None)
    steps = [Step("all", "Switch the machine off and let it cool.", HOT)]
    steps += [Step(valve, f"Close {valve}.") for valve in (before, after) if valve is not None]
    steps += [
        Step(name, "Let the pressure off at the test port or drain before the housing is opened.", HOT),
        Step(
            name, f"Change the cartridge of {name}; new O-ring, hand tight; write down date, meter and pressure drop."
        ),
    ]
    steps += [Step(valve, f"Open {valve} slowly; look for leaks.") for valve in (before, after) if valve is not None]
    stage = next((s for s in stages if s.name == name), None)
    gallons = "as its sheet says" if stage is None else _flush(stage)
    tank = any(n.kind == "fresh_tank" for n in tree.nodes)
    room = ": have that much room in the waste tank, and more in the fresh one" if tank else ""
    steps.append(Step(name, f"Flush it to waste, {gallons}{room}. Then test the water."))
    return tuple(steps)


@dataclass(frozen=True, slots=True)
class Adapter:
    """A fitting between two threads that differ: how many, where, and what to heed."""

    one: str
    other: str
    count: int
    where: tuple[str, ...]
    note: str

    @property
    def text(self) -> str:
        """As a line of a shopping list."""
        return f"{self.count} x adapter {self.one} to {self.other}, lead-free, for drinking water"


def adapters(tree: PlumbingTree) -> tuple[Adapter, ...]:
    """Where two parts that meet differ in thread or size: the adapters to buy.

    Raises
    ------
    InputError : the tree cannot be walked
    """
    by_name, meets = tree.by_name, []
    for node in tree.in_order():
        if node.parent is None:
            continue
        for before in (node.parent, node.cold_from):
            one, other = by_name[before].connection if before else None, node.connection
            if one and other and one != other:
                meets.append((*sorted((one, other)), node.name))
    found = []
    for (one, other), count in Counter((a, b) for a, b, _ in meets).items():
        where = tuple(dict.fromkeys(name for a, b, name in meets if (a, b) == (one, other)))
        found.append(Adapter(one, other, count, where, _note(one, other)))
    return tuple(found)


def _note(one: str, other: str) -> str:
    rows = reference.keyed("thread_sizes")
    strange = [t for t in (one, other) if t not in rows]
    if strange:
        return f"{' and '.join(strange)}: not a listed thread; measure it and ask the supplier."
    kinds = {rows[one]["standard"], rows[other]["standard"]}
    if kinds in ({"NPT", "BSP"}, {"NPS", "BSP"}):
        return "These two start to screw together and then leak or strip: never join them without the adapter."
    if kinds in ({"NPT", "GHT"}, {"NPT", "NPS"}):
        return "A tapered and a straight thread: the washer seals one, tape the other."
    return ""
