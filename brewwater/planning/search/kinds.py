"""The kinds of train that compete, "nothing" among them, and what can be set on each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import product

from brewwater.treatment import Dose, Stage, usual_sheet
from brewwater.treatment.stage import Medium, Size

NAMES: dict[Medium, str] = {
    "sediment": "Sediment filter",
    "carbon": "Carbon",
    "catalytic_carbon": "Catalytic carbon",
    "scale_inhibitor": "Scale inhibitor",
    "weak_acid": "Weak-acid exchange",
    "softening": "Softener",
    "calcium_to_magnesium": "Calcium-for-magnesium exchange",
    "chloride_anion": "Chloride-form anion exchange",
    "reverse_osmosis": "Reverse osmosis",
    "mixed_bed": "Mixed bed",
    "mineral_dose": "Minerals",
    "calcite": "Calcite bed",
    "iron_manganese": "Iron and manganese media",
}
# Where each medium's bypass is first tried, per cent.
_BYPASS: dict[Medium, tuple[float, ...]] = {
    "weak_acid": (0, 5, 10, 15, 20, 25, 30, 35, 40, 50, 60),
    "softening": (0, 10, 20, 30, 40, 50, 60, 70),
    "calcium_to_magnesium": (0, 20, 40),
    "chloride_anion": (0, 20, 40, 60),
    "reverse_osmosis": (0, 10, 20, 30, 40, 50),
    "mixed_bed": (0, 10, 20, 30, 40, 50),
}
# Product over feed that is searched for small membranes, highest last (common practice, no source).
RECOVERIES = (0.15, 0.2, 0.25, 0.33, 0.4, 0.5)
# Buffer and hardness given back, and where each dose is first tried, mg/L of the salt.
SALTS: Mapping[str, tuple[float, ...]] = {
    "potassium_bicarbonate": (0, 40, 80),
    "magnesium_sulfate_heptahydrate": (0, 60, 120),
}
MOST_BYPASS = 90.0
MOST_DOSE = 200.0
LEAST_DOSE = 5  # mg/L; less is not worth weighing

Setting = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of train: its stages, and what can be set on it.

    bypass_at : the stage whose bypass is set, or None
    bypasses, doses : the coarse grid; ``doses`` by salt
    recoveries : of its membrane, empty without one

    A setting is the bypass in per cent, if any, and then the doses in mg/L.
    """

    stages: tuple[Stage, ...]
    bypass_at: int | None = None
    bypasses: tuple[float, ...] = ()
    recoveries: tuple[float, ...] = ()
    doses: Mapping[str, tuple[float, ...]] | None = None

    @property
    def media(self) -> tuple[Medium, ...]:
        """What names the kind."""
        return tuple(s.medium for s in self.stages)

    @property
    def bounds(self) -> tuple[tuple[float, float], ...]:
        """Lowest and highest value of each part of a setting."""
        of_bypass = [] if self.bypass_at is None else [(0.0, MOST_BYPASS)]
        return (*of_bypass, *((0.0, MOST_DOSE) for _ in self.doses or ()))

    def grid(self) -> tuple[Setting, ...]:
        """The coarse grid; without what doses nothing."""
        axes = ([] if self.bypass_at is None else [self.bypasses]) + list((self.doses or {}).values())
        found = [tuple(float(x) for x in point) for point in product(*axes)]
        return tuple(p for p in found if self.doses_something(p))

    def doses_something(self, setting: Setting) -> bool:
        """False where doses can be set and each is next to nothing: another kind."""
        return not self.doses or any(mg_L >= LEAST_DOSE for mg_L in setting[-len(self.doses) :])

    def train(self, setting: Setting, recovery: float | None = None) -> tuple[Stage, ...]:
        """The stages with a setting: the bypass to a tenth of a per cent, doses to a milligram."""
        stages = list(self.stages)
        rest = list(setting)
        if self.bypass_at is not None:
            percent = round(rest.pop(0), 1)
            stages[self.bypass_at] = stages[self.bypass_at].model_copy(update={"bypass_percent": percent})
        if self.doses:
            amounts = zip(self.doses, rest, strict=True)
            doses = tuple(Dose(salt=salt, mg_L=round(mg_L)) for salt, mg_L in amounts if mg_L >= LEAST_DOSE)
            stages[-1] = stages[-1].model_copy(update={"doses": doses})
        if recovery is not None:
            stages = [
                s.model_copy(update={"recovery": recovery}) if s.medium == "reverse_osmosis" else s for s in stages
            ]
        return tuple(stages)


def stage(medium: Medium, size: Size = "large", **settings: object) -> Stage:
    """A usual stage of a medium: the class's figures, no capacity claimed."""
    made = {"name": NAMES[medium], "medium": medium, "size": size, "sheet": usual_sheet(medium, size)}
    return Stage.model_validate({**made, **settings})


def in_size(item: Stage, size: Size) -> Stage:
    """A usual stage in another size."""
    return item.model_copy(update={"size": size, "sheet": usual_sheet(item.medium, size)})


def bases(disinfectant: str, iron: bool = False) -> tuple[Kind, ...]:
    """What may stand before anything else: nothing, a sediment filter, and a carbon for this disinfectant.

    For chloramine two catalytic carbons in series compete with one. Where the disinfectant is unknown both carbons
    compete; a plain carbon is never offered for chloramine. The last is what stands before everything else: catalytic
    carbon while chloramine is possible, and no carbon where there is nothing for it to take. ``iron``: iron or
    manganese is out of what resin and membrane bear; the last base then takes it out first.
    """
    sediment = stage("sediment")
    plain, catalytic = (Kind((sediment, stage(carbon))) for carbon in ("carbon", "catalytic_carbon"))
    second = stage("catalytic_carbon", name="Second catalytic carbon")
    series = Kind((*catalytic.stages, second))
    of_kind = {"chloramine": (series, catalytic), "free_chlorine": (plain,), "none": (plain, Kind((sediment,)))}
    carbons = of_kind.get(disinfectant, (plain, catalytic))
    first = (Kind(()), *(() if disinfectant == "none" else (Kind((sediment,)),)), *carbons)
    if not iron:
        return first
    media = stage("iron_manganese")
    return *first, Kind((media, *first[-1].stages))


def kinds(base: tuple[Stage, ...]) -> Iterator[Kind]:
    """Every kind that treats the minerals, behind a base."""
    yield Kind((*base, stage("scale_inhibitor")))
    for medium in ("weak_acid", "softening", "calcium_to_magnesium", "chloride_anion"):
        yield Kind((*base, stage(medium)), len(base), _BYPASS[medium])
    yield Kind((*base, stage("softening"), stage("chloride_anion")), len(base), (0, 20, 40))
    yield from _remineralised(Kind(base))
    yield from _demineralised((*base, stage("reverse_osmosis")), _BYPASS["reverse_osmosis"], RECOVERIES)
    held = (*base, stage("scale_inhibitor"), stage("reverse_osmosis"))
    yield from _demineralised(held, _BYPASS["reverse_osmosis"], RECOVERIES)
    yield from _demineralised((*base, stage("mixed_bed")), _BYPASS["mixed_bed"], ())
    softened = (*base, stage("softening"), stage("reverse_osmosis"))
    yield from _demineralised(softened, (0, 20, 40), RECOVERIES[1:])


def _demineralised(
    stages: tuple[Stage, ...], bypasses: tuple[float, ...], recoveries: tuple[float, ...]
) -> Iterator[Kind]:
    bare = Kind(stages, len(stages) - 1, bypasses, recoveries)
    yield bare
    yield from _remineralised(bare)


def _remineralised(bare: Kind) -> Iterator[Kind]:
    for last, doses in ((stage("mineral_dose", "medium"), SALTS), (stage("calcite"), None)):
        yield Kind((*bare.stages, last), bare.bypass_at, bare.bypasses, bare.recoveries, doses)
