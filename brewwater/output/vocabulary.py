"""The one set of words: page, sheet, terminal and messages take theirs from here, each with where it comes from.

A code (``fresh_tank_hours``) is for machines and stands in JSON only; a reader gets the word. No word is recalled from
an existing product: each is ``standard`` (an open standard or a law uses it), ``trade`` (the trade says it) or
``plain`` (a word of everyday speech, chosen where the other two would need explaining).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from brewwater.planning.search import NAMES
from brewwater.treatment import Stage
from brewwater.units import plain
from brewwater.verdicts.measure import assumed_words

Origin = Literal["standard", "trade", "plain"]
_ORIGIN: dict[str, Origin] = {"s": "standard", "t": "trade", "p": "plain"}


@dataclass(frozen=True, slots=True)
class Term:
    """A word for one code. ``text`` as a label; ``inside`` the same in a sentence; ``origin`` where it comes from."""

    key: str
    text: str
    inside: str
    origin: Origin


class Group(Mapping[str, Term]):
    """The words of one kind, by code. A code without a word is an error, never shown as it is."""

    def __init__(self, name: str, *rows: tuple[str, ...]) -> None:
        self.name = name
        words = {
            key: Term(key, text, rest[0] if rest else small(text), _ORIGIN[origin]) for key, text, origin, *rest in rows
        }
        self._words = MappingProxyType(words)

    def __getitem__(self, key: str) -> Term:
        return self._words[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._words)

    def __len__(self) -> int:
        return len(self._words)

    def label(self, key: str) -> str:
        """The word as a label; so a group can be a widget's ``format_func``."""
        return self._words[key].text

    def inside(self, key: str) -> str:
        """The word inside a sentence."""
        return self._words[key].inside


def small(text: str) -> str:
    """A label inside a sentence: small first letter, but for pH, CO2, TDS and other words that are written so."""
    return text if len(text) > 1 and (text[1].isupper() or text[1] == ".") else text[:1].lower() + text[1:]


# What a verdict says, its sign on paper and in the terminal, and its colour's name in the theme.
STATUS = Group(
    "Verdicts",
    ("ok", "Good", "p"),
    ("watch", "Watch", "p"),
    ("act", "Act", "p"),
    ("stop", "Stop", "p"),
    ("unknown", "Not known", "p"),
)
SIGN = MappingProxyType({"ok": "●", "watch": "▲", "act": "■", "stop": "✖", "unknown": "◇"})
THEME = MappingProxyType({"ok": "green", "watch": "yellow", "act": "red", "stop": "red", "unknown": "gray"})
# A check or a question that is met, not met, or not known.
MET = MappingProxyType({True: "ok", False: "act", None: "unknown"})
YES = MappingProxyType({True: "yes", False: "no", None: "not known"})


def met(ok: bool | None, assumed: bool) -> str:
    """The status of a check: a failure on assumed values warns, and what holds on them is no proof."""
    if ok is None or not assumed:
        return MET[ok]
    return "unknown" if ok else "watch"


def fit_word(ok: bool | None, assumed: bool) -> str:
    """Whether a check is met, in words."""
    return small(assumed_words(ok)) if ok is not None and assumed else YES[ok]


SUBJECT = Group(
    "Subjects",
    ("cup", "Cup", "t"),
    ("scale", "Scale", "t"),
    ("corrosion", "Corrosion", "s"),
    ("safety", "Safe to drink?", "p", "safety"),
)
WATER = Group(
    "Which water",
    ("source", "Before", "p", "untreated"),
    ("served", "After", "p", "treated"),
    ("raw", "Raw", "t"),
)

# What a stage is: its short name on the drawing, and the part as one buys and changes it.
MEDIA = Group(
    "Stages",
    ("sediment", "Sediment", "t", "sediment filter"),
    ("carbon", "Carbon", "t", "carbon filter"),
    ("catalytic_carbon", "Catalytic carbon", "t", "catalytic carbon filter"),
    ("scale_inhibitor", "Scale inhibitor", "t"),
    ("weak_acid", "Weak-acid resin", "t", "weak-acid resin"),
    ("softening", "Softener", "s"),
    ("calcium_to_magnesium", "Magnesium resin", "p"),
    ("chloride_anion", "Chloride resin", "p"),
    ("reverse_osmosis", "Membrane", "t"),
    ("mixed_bed", "Mixed bed", "t", "mixed bed resin"),
    ("blend", "Blend", "t"),
    ("mineral_dose", "Minerals", "p"),
    ("calcite", "Calcite", "t", "calcite bed"),
    ("iron_manganese", "Iron and manganese media", "t", "iron and manganese media"),
)
# What each does to the water, as a reader sees it done.
DOES = MappingProxyType(
    {
        "sediment": "Takes grit.",
        "carbon": "Takes chlorine, so that it does not reach the cup.",
        "catalytic_carbon": "Takes chlorine and chloramine; it needs time to do so.",
        "scale_inhibitor": "Keeps scale from sticking. Not for steam boilers or water that stands long.",
        "weak_acid": "Takes hardness and alkalinity together. The bypass sets how much.",
        "softening": "Swaps hardness for sodium. Alkalinity stays.",
        "calcium_to_magnesium": "Swaps calcium for magnesium.",
        "chloride_anion": "Swaps alkalinity and sulfate for chloride.",
        "reverse_osmosis": "Takes most minerals and salt. Part of the water goes to waste.",
        "mixed_bed": "Takes all minerals and salt. For small amounts of water.",
        "blend": "Mixes untreated water back in.",
        "mineral_dose": "Gives back a little hardness and alkalinity.",
        "calcite": "Gives back calcium and alkalinity by dissolving.",
        "iron_manganese": "Takes iron and manganese; backwashed, so at base.",
    }
)
# The same in two or three words, under the stage on the drawing; what it takes first, as the specks show it.
TAKES = MappingProxyType(
    {
        "sediment": "takes grit",
        "carbon": "takes chlorine",
        "catalytic_carbon": "takes chlorine",
        "scale_inhibitor": "holds scale back",
        "weak_acid": "takes hardness",
        "softening": "takes hardness",
        "calcium_to_magnesium": "takes calcium",
        "chloride_anion": "takes alkalinity",
        "reverse_osmosis": "takes minerals",
        "mixed_bed": "takes minerals",
        "blend": "mixes raw water in",
        "mineral_dose": "gives minerals back",
        "calcite": "gives minerals back",
        "iron_manganese": "takes iron and manganese",
    }
)

# What can hurt at a stage, said on the stage (common practice; the data sheet and local code go first).
CARE = MappingProxyType(
    {
        "sediment": "Fine media never on a pump's suction side.",
        "weak_acid": "The line after it must not be brass or copper.",
        "softening": "Never regenerate it aboard. Its salt adds sodium.",
        "calcium_to_magnesium": "The line after it must not be brass or copper.",
        "chloride_anion": "It adds chloride: watch the boiler's metal.",
        "reverse_osmosis": (
            "The line after it must not be brass or copper. Its waste never goes to ground or storm drain."
        ),
        "mixed_bed": "The line after it must not be brass or copper.",
        "mineral_dose": "Weigh food-grade salt in grams; have a second person check the weight.",
        "scale_inhibitor": "Not before a steam boiler.",
    }
)
# An inhibitor's other place: ahead of a membrane it serves the membrane, and no boiler meets it.
GUARDS_MEMBRANE = ("guards the membrane", "Keeps scale off the membrane, which holds it back again.", "")


def told_of(train: Sequence[Stage], at: int) -> tuple[str, str, str]:
    """What the stage at a place of a train takes in two or three words, what it does in a sentence or two, and what to
    mind there, which may be empty."""
    medium = train[at].medium
    if medium == "scale_inhibitor" and any(s.medium == "reverse_osmosis" for s in train[at:]):
        return GUARDS_MEMBRANE
    return TAKES[medium], DOES[medium], CARE.get(medium, "")


GOVERNS = Group(
    "What sets a change",
    ("volume", "Has passed its rated water", "p"),
    ("exchange", "Has exchanged all it can", "p"),
    ("chlorine", "Has taken all the chlorine it can", "p"),
    ("time", "Reaches its time limit", "p"),
    ("pressure", "Clogs", "p"),
    ("lay-up", "Goes out for lay-up", "t"),
    ("freeze", "Would freeze", "p"),
    ("reading", "A reading says so", "p"),
    ("notice", "A notice on the water", "p"),
)
_OF_CAPACITY = ("volume", "exchange", "chlorine")


def governed(code: str, known: bool) -> str:
    """What sets a change. Where a capacity is not known (``known``) none is said to be used up."""
    return GOVERNS.label(code) if known or code not in _OF_CAPACITY else "Usual range of its kind, no capacity stated"


CHECKS = Group(
    "Checks of the unit",
    ("fresh_tank_hours", "Fresh tank lasts", "p"),
    ("waste_tank_ratio", "Waste tank against fresh tank", "s"),
    ("waste_tank_fill", "Into the waste tank", "p"),
    ("peak_day_fills", "Fills on the busiest day", "p"),
    ("turnover", "Water stands in the tank", "p"),
    ("residual", "Chlorine left in the tank", "s"),
    ("slope", "Slope of the drain", "s"),
    ("inlet_pressure", "Pressure at the machine", "t"),
    ("mains_pressure", "Pressure of the supply", "t"),
    ("supply", "Flow of the supply", "t"),
    ("pump_flow", "Flow of the pump", "t"),
    ("accumulator", "Accumulator", "t"),
    ("cartridge_flow", "Flow through the filters", "t"),
    ("contact_time", "Contact time", "s"),
    ("membrane_pressure", "Pressure at the membrane", "t"),
    ("membrane_output", "Output of the membrane", "t"),
    ("membrane_hours", "The membrane runs", "p"),
    ("carried_tank", "Tank that is carried", "p"),
    ("base_tank", "Tank at the base", "p"),
    ("velocity", "Speed in the pipe", "t"),
    ("weight", "Weight of the water", "p"),
    ("tongue", "Weight on the hitch", "t"),
    ("side_balance", "Weight on one side", "p"),
    ("plumbing", "Pipe drawing", "p"),
    ("base_tank", "Tank at base", "p"),
    ("carried_tank", "Tank carried on board", "p"),
)

MEASURES = Group(
    "Measures of water",
    ("total_hardness", "Hardness", "s"),
    ("hardness", "Hardness", "s"),
    ("temporary_hardness", "Temporary hardness", "s"),
    ("calcium_hardness", "Calcium hardness", "s"),
    ("alkalinity", "Alkalinity", "s"),
    ("total_dissolved_solids", "Dissolved solids", "s"),
    ("tds", "Dissolved solids", "s"),
    ("chloride", "Chloride", "s"),
    ("sodium", "Sodium", "s"),
    ("sulfate", "Sulfate", "s"),
    ("ph", "pH", "s"),
    ("line_ph", "pH in the line", "t"),
    ("air_ph", "pH once CO2 has settled with the air", "p"),
    ("cup_ph", "pH in the cup", "t"),
    ("line_co2", "CO2 in the line", "t"),
    ("line_alkalinity", "Alkalinity", "s"),
    ("total_chlorine", "Chlorine", "s"),
    ("larson_ratio", "Salt to alkalinity", "p"),
    ("boiler_chloride", "Chloride in the boiler", "t"),
    ("chloride_taste", "Chloride, for taste", "s"),
    ("sulfate_taste", "Sulfate, for taste", "s"),
    ("ccpp", "Scale that can fall out", "p"),
    ("hot_ccpp", "Scale that can fall out", "p"),
    ("hot_index", "Calcite index, hot", "s"),
    ("gypsum_index", "Gypsum index, hot", "s"),
    ("permanent_hardness", "Permanent hardness", "s"),
    ("sulfate_hardness", "Sulfate hardness", "s"),
    ("sodium_alkalinity", "Sodium alkalinity", "s"),
    ("conductivity", "Conductivity", "s"),
    ("iron", "Iron", "s"),
    ("manganese", "Manganese", "s"),
    ("haa5", "HAA5", "s"),
    ("haa9", "HAA9", "s"),
    ("e_coli", "E. coli", "s"),
)

METHODS = Group(
    "How it was measured",
    ("report", "City report", "t"),
    ("lab", "Laboratory", "p"),
    ("drop_kit", "Drop kit", "t"),
    ("strip", "Test strip", "t"),
    ("meter", "Meter", "p"),
    ("typed", "Typed in", "p"),
    ("unknown", "Not sure", "p"),
)
DISINFECTANTS = Group(
    "Disinfectant",
    ("free_chlorine", "Chlorine", "s"),
    ("chloramine", "Chloramine", "s"),
    ("none", "None", "p"),
    ("unknown", "Not known", "p"),
)
MACHINES = Group(
    "Machines",
    ("espresso", "Espresso machine", "t"),
    ("steam_boiler", "Steam boiler", "t"),
    ("brewer", "Brewer", "t"),
    ("hot_water", "Hot water", "p"),
    ("ice", "Ice machine", "t"),
    ("other", "Other", "p"),
)
METALS = Group(
    "Metal that the water meets",
    ("copper_brass", "Copper or brass", "t"),
    ("stainless", "Stainless steel", "s"),
    ("steel", "Steel", "s"),
    ("unknown", "Not known", "p"),
)
LINES = Group(
    "Line to the machine",
    ("non_metallic", "Not of metal", "p"),
    ("copper_brass", "Copper or brass", "t"),
    ("stainless", "Stainless steel", "s"),
    ("steel", "Steel", "s"),
)
LOG = Group(
    "Log",
    ("meter_gal", "Filter meter", "t"),
    ("drinks_sold", "Drinks sold", "p"),
    ("pressure_in_psi", "Pressure before the filters", "p"),
    ("pressure_out_psi", "Pressure after the filters", "p"),
    ("hardness", "Hardness", "s"),
    ("alkalinity", "Alkalinity", "s"),
    ("conductivity", "Conductivity", "s"),
    ("tds", "Dissolved solids", "s"),
    ("total_chlorine", "Total chlorine", "s"),
    ("free_chlorine", "Free chlorine", "s"),
    ("chloride", "Chloride", "s"),
    ("ph", "pH", "s"),
    ("changed_cartridge", "Changed a cartridge", "p"),
    ("sanitised", "Sanitized", "s"),
    ("descaled", "Descaled", "t"),
    ("lay_up", "Laid up", "t"),
    ("reopened", "Reopened", "p"),
    ("taste_note", "Taste note", "p"),
    ("visited", "Visit", "p"),
    ("withdrawn", "Taken back", "p"),
)
EVIDENCE = Group(
    "A limit of the manual against the tests",
    ("within", "Within", "p"),
    ("past", "Past the limit", "p"),
    ("not_tested", "Not tested", "p"),
)
PARTS = Group(
    "Parts of the pipe",
    ("source", "Source", "t"),
    ("fresh_tank", "Fresh tank", "s"),
    ("air_gap", "Air gap", "s"),
    ("isolator", "Valve", "t"),
    ("backflow_preventer", "Backflow protection", "s"),
    ("strainer", "Strainer", "t"),
    ("regulator", "Pressure regulator", "t"),
    ("pump", "Pump", "t"),
    ("check_valve", "Check valve", "s"),
    ("accumulator", "Accumulator", "t"),
    ("expansion", "Expansion tank", "t"),
    ("heater", "Water heater", "t"),
    ("relief", "Relief valve", "s"),
    ("drain", "Drain", "t"),
    ("gauge", "Gauge", "t"),
    ("meter", "Meter", "t"),
    ("test_port", "Test port", "t"),
    ("arrestor", "Hammer arrestor", "t"),
    ("tee", "Tee", "t"),
    ("stage", "Filter", "t"),
    ("product_tank", "Tank of the membrane", "t"),
    ("fixture", "Outlet", "s"),
)
FIXTURES = Group(
    "Branches",
    ("espresso_machine", "Espresso machine", "t"),
    ("brewer", "Brewer", "t"),
    ("hot_water", "Hot water", "p"),
    ("ice", "Ice machine", "t"),
    ("rinser", "Pitcher rinser", "t"),
    ("hand_sink", "Hand sink", "s"),
    ("sink", "Sink", "s"),
    ("fill", "Fill tap", "p"),
    ("other", "Other", "p"),
)
UNIT_KINDS = Group(
    "Kinds of unit",
    ("cart", "Cart", "s"),
    ("truck", "Truck or trailer", "s"),
    ("kiosk", "Kiosk", "s"),
    ("shop", "Shop", "p"),
)
SUPPLY_KINDS = Group(
    "Kinds of supply", ("public", "City water", "p"), ("well", "Well", "s"), ("hauled", "Hauled water", "s")
)
NOTICES = Group(
    "Notices",
    ("none", "None", "p"),
    ("boil_water", "Boil water", "s"),
    ("do_not_drink", "Do not drink", "s"),
)
RULES = Group(
    "Rules for the waste tank",
    ("food_code", "US Food Code", "s"),
    ("ohio", "Ohio", "s"),
    ("indiana", "Indiana", "s"),
    ("california", "California", "s"),
    ("chicago", "Chicago", "s"),
)
EDITIONS = Group(
    "Sets of goals",
    ("trade", "The trade's usual goals", "t"),
    ("scaa_2009", "SCAA 2009", "s"),
    ("sca_later", "SCA, later", "s"),
)
DRINKS = Group(
    "Drinks",
    ("espresso", "Espresso", "t"),
    ("milk_drink", "Milk drink", "t"),
    ("americano", "Americano", "t"),
    ("drip", "Drip coffee", "t"),
    ("tea", "Tea", "t"),
    ("batch_brew", "Batch brew", "t"),
    ("iced_coffee", "Iced coffee", "t"),
    ("iced_latte", "Iced latte", "t"),
    ("cold_brew", "Cold brew", "t"),
    ("matcha", "Matcha latte", "t"),
    ("iced_tea", "Iced tea", "t"),
    ("smoothie", "Smoothie with ice", "t"),
    ("water_bottle", "Water by the bottle", "t"),
)
SALTS = Group(
    "Salts",
    ("sodium_bicarbonate", "Sodium bicarbonate", "s"),
    ("potassium_bicarbonate", "Potassium bicarbonate", "s"),
    ("magnesium_sulfate_heptahydrate", "Magnesium sulfate heptahydrate", "s"),
    ("magnesium_sulfate_anhydrous", "Magnesium sulfate, anhydrous", "s"),
    ("magnesium_chloride_hexahydrate", "Magnesium chloride hexahydrate", "s"),
    ("calcium_chloride_dihydrate", "Calcium chloride dihydrate", "s"),
    ("calcium_chloride_anhydrous", "Calcium chloride, anhydrous", "s"),
    ("calcium_sulfate_dihydrate", "Calcium sulfate dihydrate", "s"),
    ("sodium_chloride", "Sodium chloride", "s"),
    ("potassium_chloride", "Potassium chloride", "s"),
)
STANDING = Group(
    "How sure a figure is",
    ("published", "Published: the text was read", "p"),
    ("second_hand", "Second hand: seen in a reprint", "p"),
    ("definition", "Definition", "s"),
    ("common_practice", "Usual figure, no source", "p"),
    ("memory", "From memory, not verified", "p"),
    ("placeholder", "A guess: replace it", "p"),
)
GROUPS = (
    STATUS,
    SUBJECT,
    WATER,
    MEDIA,
    GOVERNS,
    CHECKS,
    MEASURES,
    METHODS,
    DISINFECTANTS,
    MACHINES,
    METALS,
    LINES,
    LOG,
    EVIDENCE,
    PARTS,
    FIXTURES,
    UNIT_KINDS,
    SUPPLY_KINDS,
    NOTICES,
    RULES,
    EDITIONS,
    DRINKS,
    SALTS,
    STANDING,
)


# Every word that a verdict's first sentence, its aside and the headline may use, besides names and one figure: plain
# English, and the names of what is measured.
SPOKEN = frozenset(
    """
    a about alkaline alkalinity allows and are as ask away be boiled boiler boiler's both brass build builds but
    buy carbon chloride chlorine coffee copper cup dioxide do dull eight enough far few figure fine five fix
    fixes flat for four from full g gypsum hard hardness has have heavy help helps high in iron is it its known
    lab laboratory less level limit line little looking low machine's make makes manganese manual may measured
    metal minerals more most much need next nine no not nothing of off once one or over oz ph pit pits plan
    probe proof pure rather reach reaches reported rest right salty scale see serve settle settles seven short
    should six slowly so sodium soft softer sour spare spoil spoils stage stages stay stays steel stood suits
    sulfate taste tasted tastes ten test than that the there thin this three to too towns treat treatment treats
    turn turns two until untreated up utility water waters wear wears where year yet
    """.split()  # noqa: SIM905
)


def stage_name(stage: Stage) -> str:
    """A stage as it is called: its medium's word, or the name that its owner gave it."""
    return MEDIA.label(stage.medium) if stage.name in (NAMES.get(stage.medium), "") else stage.name


def stage_part(stage: Stage) -> str:
    """The part that is bought and changed, inside a sentence: ``sediment filter``."""
    return MEDIA.inside(stage.medium) if stage.name in (NAMES.get(stage.medium), "") else stage.name


def bypass(percent: float) -> str:
    """The setting of a bypass: always the share that stays raw, so that 0 is all treated and 100 all raw."""
    return f"bypass {plain(percent)}%"


def analyte(key: str) -> str:
    """A measured thing as a label; one that has no word of its own is called by its English name."""
    return MEASURES.label(key) if key in MEASURES else key.replace("_", " ").capitalize()


def analyte_inside(key: str) -> str:
    """The same inside a sentence."""
    return MEASURES.inside(key) if key in MEASURES else key.replace("_", " ")
