"""Sorting the log into evidence. A line that is impossible or contradicts another is flagged, not used."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from brewwater.log.entry import ANALYTE_OF, Reading, standing_readings
from brewwater.log.evidence import leaning
from brewwater.log.meters import MeterSorter, own_value
from brewwater.log.parts import FILTERED, MOST_ROWS, Counted, Drop, Flag, Metered, Scene, Sorted, Tested
from brewwater.reports.instruments import instrument
from brewwater.units import plain

FloatArray = NDArray[np.float64]

# A day's drinks this many times over or under what the other days give is taken for a slip of the pen.
_TENFOLD = 6.0
# pH outside these is no drinking water but a slip.
_PH = (3.0, 12.0)
# Two tests of the same water on the same day by the same method that differ by more than this contradict.
_APART_SD = 6.0


@dataclass(slots=True)
class _Sorter:
    scene: Scene
    flags: list[Flag] = field(default_factory=list)
    first: dict[str, dt.date | None] = field(default_factory=dict)  # by place, worked out once

    def flag(self, line: Reading, code: str, message: str, used: bool = False) -> None:
        self.flags.append(Flag(line.id, code, message, used))

    # -- dates and changes -----------------------------------------------------------------------

    def dated(self, lines: Iterable[Reading]) -> list[Reading]:
        """The lines whose date the plan can place, by date, and within a day in an order that is not the log's: in
        which order the lines of one day were typed says nothing."""
        kept = []
        for line in sorted(lines, key=lambda x: (x.date, x.kind, x.where, x.method, own_value(x), x.note, x.id)):
            if self.scene.line.holds(line.date):
                kept.append(line)
            else:
                self.flag(
                    line,
                    "date_outside_plan",
                    f"{line.date} is outside the days of the plan ({self.scene.line.first} to {self.scene.line.last}).",
                )
        return kept

    def changes(self, lines: Sequence[Reading]) -> dict[str, tuple[dt.date, ...]]:
        """Days of logged changes by stage."""
        found: dict[str, list[dt.date]] = {}
        names = [s.name for s in self.scene.stages]
        for line in lines:
            if line.kind != "changed_cartridge":
                continue
            said = next((x for x in (line.where, line.note.strip()) if x in names), None)
            if said is None and line.where == "" and len(names) == 1:
                said = names[0]
            if said is not None:
                found.setdefault(said, []).append(line.date)
            else:
                said = f"{line.where or 'No name'!r} is not a cartridge of this train"
                self.flag(
                    line,
                    "cartridge_unknown",
                    f"Which cartridge was changed? {said}; write its name under where.",
                )
        return {name: tuple(sorted(set(days))) for name, days in found.items()}

    def before_cartridge(self, line: Reading, changed: Mapping[str, tuple[dt.date, ...]]) -> bool:
        """True, with a flag, where a reading behind the filter is older than every cartridge the plan knows."""
        if line.where not in self.first:
            self.first[line.where] = self._first_cartridge(line.where, changed)
        first = self.first[line.where]
        if first is None or line.date >= first:
            return False
        self.flag(
            line,
            "before_the_cartridge",
            f"{line.date} is before the cartridge went in ({first}): it says nothing about this one.",
        )
        return True

    def _first_cartridge(self, where: str, changed: Mapping[str, tuple[dt.date, ...]]) -> dt.date | None:
        """When the first cartridge that the plan knows went in before a place; None where none stands before it."""
        scene = self.scene
        named = [s.name for s in scene.stages if where in (*FILTERED, s.name)]
        if where == "source" or not named:
            return None
        known = [p.installed for p in scene.in_service if p.stage in named] or [scene.start]
        return min([*known, *(days[0] for name, days in changed.items() if name in named)])

    # -- meters ----------------------------------------------------------------------------------

    def meters(self, lines: Sequence[Reading], changed: Mapping[str, tuple[dt.date, ...]]) -> tuple[Metered, ...]:
        by_place: dict[str, list[Reading]] = {}
        for line in lines:
            if line.kind != "meter_gal":
                continue
            counted = self.scene.behind(line.where)
            if counted is None:
                hint = (
                    ""
                    if self.scene.train_known
                    else (" The plan has no treatment of its own: if one stands there, take the one shown as yours.")
                )
                self.flag(line, "place_unknown", f"{line.where!r} is no branch or cartridge of this unit.{hint}")
            elif not counted:
                place = f"behind {line.where}" if line.where not in FILTERED else "of this plan"
                self.flag(
                    line,
                    "nothing_filtered",
                    f"No branch {place} is filtered: by the plan nothing passes this meter. Mark the branch that it "
                    "counts as filtered.",
                )
            elif not self.before_cartridge(line, changed):
                by_place.setdefault("" if line.where == "served" else line.where, []).append(line)
        sorter = MeterSorter(self.scene, self.flag)
        found = [sorter.metered(where, mine, changed) for where, mine in by_place.items()]
        return tuple(m for m in found if m is not None)

    # -- drinks ----------------------------------------------------------------------------------

    def counts(self, lines: Sequence[Reading]) -> tuple[Counted, ...]:
        one_a_day: dict[dt.date, Reading] = {}
        for line in lines:
            if line.kind != "drinks_sold":
                continue
            if line.date in one_a_day:
                self.flag(
                    one_a_day[line.date],
                    "same_day",
                    "Another count for the same day is higher; that one is used.",
                )
            one_a_day[line.date] = line
        if not one_a_day:
            return ()
        time = self.scene.line
        at = np.array([time.at(d) for d in one_a_day])
        sold = np.array([r.own_value() for r in one_a_day.values()], dtype=np.float64)
        curve = time.sums[at + 1] - time.sums[at]
        planned = curve @ np.median(self.scene.plan.drinks, axis=-1)
        ratio = np.where(planned > 0, sold / np.where(planned > 0, planned, 1.0), np.nan)
        usual = float(np.nanmedian(ratio)) if np.isfinite(ratio).any() else 1.0
        usual = usual if len(sold) > 2 and usual > 0 else 1.0
        good = np.zeros(len(sold), dtype=bool)
        for i, line in enumerate(one_a_day.values()):
            if planned[i] <= 0:
                self.flag(line, "not_a_service_day", f"{line.date} is no service day in the plan's calendar.")
            elif not usual / _TENFOLD < ratio[i] < usual * _TENFOLD:
                self.flag(
                    line,
                    "count_out_of_line",
                    f"{plain(sold[i], 6)} drinks where about {planned[i] * usual:,.0f} were to be expected: check "
                    "for a slip of the pen.",
                )
            else:
                good[i] = True
        if not good.any():
            return ()
        parts = np.array_split(np.flatnonzero(good), min(MOST_ROWS, int(good.sum())))
        ids = [r.id for r in one_a_day.values()]
        return (
            Counted(
                np.array([curve[p].sum(axis=0) for p in parts]),
                np.array([sold[p].sum() for p in parts]),
                np.array([len(p) for p in parts], dtype=np.float64),
                tuple(ids[i] for i in np.flatnonzero(good)),
            ),
        )

    # -- tests of the water ----------------------------------------------------------------------

    def tests(self, lines: Sequence[Reading], changed: Mapping[str, tuple[dt.date, ...]]) -> tuple[Tested, ...]:
        groups: dict[tuple[str, str, str, str], list[Reading]] = {}
        for line in lines:
            if line.kind not in ANALYTE_OF or self.before_cartridge(line, changed):
                continue
            place = self._place(line)
            if place is None:
                continue
            value = line.own_value()
            if line.kind == "ph" and place[0] == "served" and self.scene.stages:
                self.flag(
                    line,
                    "ph_after_treatment",
                    "pH after the filters rises as carbon dioxide escapes from the sample: kept, but it moves no date.",
                )
                continue
            if line.kind == "ph" and value is not None and not _PH[0] <= value <= _PH[1]:
                self.flag(line, "impossible", f"A pH of {plain(value)} is no drinking water: check the entry.")
                continue
            groups.setdefault((*place, ANALYTE_OF[line.kind], line.method), []).append(line)
        found = [self._tested(key, mine) for key, mine in groups.items()]
        return tuple(t for t in found if t is not None)

    def _place(self, line: Reading) -> tuple[str, str] | None:
        scene, where = self.scene, line.where
        if where in scene.tank.names:
            return "supply", where
        if where == "source" or (where == "" and not scene.stages and scene.train_known):
            return ("supply", scene.tank.names[0]) if len(scene.tank.names) == 1 else ("source", "")
        filtered = next((b.filtered for b in scene.branches if b.name == (where or scene.main_branch)), True)
        if where and filtered and not scene.train_known:
            self.flag(
                line,
                "train_unknown",
                "Which filters stood there is not known: choose the train of your plan, then this test counts.",
            )
            return None
        if where == "served":
            return "served", scene.main_branch
        if any(b.name == where for b in scene.branches):
            return "served", where
        if scene.stages and where == scene.stages[-1].name:
            return "served", scene.stages[-1].branch or scene.main_branch
        self.flag(
            line,
            "place_unclear",
            "Was this water taken before the filters or after them? Write source, served, a supply or a branch "
            "under where.",
        )
        return None

    def _tested(self, key: tuple[str, str, str, str], lines: list[Reading]) -> Tested | None:
        place, name, analyte, method = key
        time, tank = self.scene.line, self.scene.tank
        pen = analyte == "total_dissolved_solids" and method not in ("lab", "report")
        error = instrument(analyte, "meter" if pen else method)
        values = np.array([r.own_value() for r in lines], dtype=np.float64)
        sd = np.hypot(error.relative_sd * values, error.absolute_sd)
        sd = np.maximum(sd, 1e-3 * np.maximum(values, 1.0))
        day = np.array([time.at(r.date) for r in lines]) - time.start
        good = np.ones(len(lines), dtype=bool)
        if place != "supply":
            for i in (int(k) for k in np.flatnonzero((day < 0) & (tank.phases > 1))):
                good[i] = False
                self.flag(
                    lines[i],
                    "water_unknown",
                    f"{lines[i].date} is before the plan starts: whose water was in the tank is not known. Write the "
                    "supply under where.",
                )
        for at in np.unique(day):
            same = np.flatnonzero(day == at)
            low, high = same[np.argmin(values[same])], same[np.argmax(values[same])]
            if values[high] - values[low] > _APART_SD * np.hypot(sd[low], sd[high]):
                good[same] = False
                for k in same:
                    self.flag(
                        lines[k],
                        "contradicts",
                        f"{plain(values[low], 6)} and {plain(values[high], 6)} were read of the same water on "
                        f"{lines[k].date}: neither is used. Measure again.",
                    )
        kept = np.flatnonzero(good)
        if not len(kept):
            return None
        rows = []
        for part in np.array_split(kept, min(MOST_ROWS, len(kept))):
            middle = part[np.argsort(values[part])[len(part) // 2]]
            rows.append((day[middle], values[middle], sd[middle]))
        when, value, spread = (np.array(x) for x in zip(*rows, strict=True))
        phase = tank.phase_of_day[np.maximum(when, 0)]
        return Tested(
            place,
            name,
            analyte,
            method,
            when,
            phase,
            value,
            spread,
            lines[kept[-1]].date,
            tuple(lines[i].id for i in kept),
        )

    # -- pressure --------------------------------------------------------------------------------

    def drops(self, lines: Sequence[Reading]) -> tuple[Drop, ...]:
        ends: dict[str, dict[dt.date, list[Reading]]] = {"pressure_in_psi": {}, "pressure_out_psi": {}}
        for line in lines:
            if line.kind in ends:
                ends[line.kind].setdefault(line.date, []).append(line)
        before_them, after_them = ends["pressure_in_psi"], ends["pressure_out_psi"]
        for mine, others, other in ((before_them, after_them, "after"), (after_them, before_them, "before")):
            for date in mine.keys() - others.keys():
                for line in mine[date]:
                    self.flag(
                        line,
                        "pressure_alone",
                        f"The pressure {other} the filters was not read on that day: the drop is not known.",
                    )
        found = []
        for date in sorted(before_them.keys() & after_them.keys()):
            both = (*before_them[date], *after_them[date])
            into, out = (float(np.mean([own_value(x) for x in side])) for side in (before_them[date], after_them[date]))
            if out > into + 2 * instrument("pressure_in_psi").absolute_sd:
                for line in both:
                    self.flag(
                        line,
                        "impossible",
                        "Pressure after the filters is higher than before them: the two were swapped, or read at "
                        "different flows.",
                    )
                continue
            found.append((date, into, out, tuple(line.id for line in both)))
        return tuple(found)


def sort_log(log: Iterable[Reading], scene: Scene) -> Sorted:
    """The log as evidence, with a flag on each line that is not used.

    Parameters
    ----------
    log : every line, corrected and withdrawn ones too; only those that still stand are used
    scene : what they are read against

    Returns
    -------
    Sorted : long series merged to at most ``MOST_ROWS`` rows of a kind and place
    """
    sorter = _Sorter(scene)
    lines = sorter.dated(standing_readings(log))
    changed = sorter.changes(lines)
    return Sorted(
        meters=leaning(sorter.meters(lines, changed), scene.plan),
        counts=sorter.counts(lines),
        tests=sorter.tests(lines, changed),
        changed=changed,
        drops=sorter.drops(lines),
        tastes=tuple((x.date, x.note, x.id) for x in lines if x.kind == "taste_note"),
        flags=tuple(sorter.flags),
    )
