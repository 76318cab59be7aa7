"""Treatment: one file a medium, the train that runs them, and what their cartridges can bear.

Each medium keeps mass and charge: what leaves the water is counted on the medium, and what the medium gives
is counted in the water. Floor 3: knows water and draws, nothing of branches, dates or money.
"""

from brewwater.treatment.classes import MediumClass, medium_class, price_of_one, usual_sheet
from brewwater.treatment.media import MEDIA
from brewwater.treatment.media.scale_inhibitor import held_back
from brewwater.treatment.medium import Load, Medium, StageSettings, performance, settings_for
from brewwater.treatment.order import BrokenRule, Context, order_problems
from brewwater.treatment.rating import Capacity, capacity
from brewwater.treatment.stage import DataSheet, Dose, Stage
from brewwater.treatment.train import StageRun, TrainResult, apply, bypass_for_target, run_train

__all__ = [
    "MEDIA",
    "BrokenRule",
    "Capacity",
    "Context",
    "DataSheet",
    "Dose",
    "Load",
    "Medium",
    "MediumClass",
    "Stage",
    "StageRun",
    "StageSettings",
    "TrainResult",
    "apply",
    "bypass_for_target",
    "capacity",
    "held_back",
    "medium_class",
    "order_problems",
    "performance",
    "price_of_one",
    "run_train",
    "settings_for",
    "usual_sheet",
]
