"""Branches, flow and tanks: which fixtures are filtered, and whether pump, pressure and tanks can bear it."""

from brewwater.branches.build import build_tree, follow
from brewwater.branches.drawing import drawing
from brewwater.branches.fit import Check, Day, day_of, fit
from brewwater.branches.flow import peak_flow_gpm, pipe_loss_psi, stage_flow_gpm
from brewwater.branches.parts import (
    Accumulator,
    Branch,
    Heater,
    Known,
    Pipe,
    Place,
    Pump,
    Unit,
    Weights,
    known,
    unit_template,
)
from brewwater.branches.problems import TreeProblem, tree_problems
from brewwater.branches.tanks import WasteRule, bleach_fl_oz, sanitising, waste_rule
from brewwater.branches.tree import Node, PlumbingTree, move

__all__ = [
    "Accumulator",
    "Branch",
    "Check",
    "Day",
    "Heater",
    "Known",
    "Node",
    "Pipe",
    "Place",
    "PlumbingTree",
    "Pump",
    "TreeProblem",
    "Unit",
    "WasteRule",
    "Weights",
    "bleach_fl_oz",
    "build_tree",
    "day_of",
    "drawing",
    "fit",
    "follow",
    "known",
    "move",
    "peak_flow_gpm",
    "pipe_loss_psi",
    "sanitising",
    "stage_flow_gpm",
    "tree_problems",
    "unit_template",
    "waste_rule",
]
