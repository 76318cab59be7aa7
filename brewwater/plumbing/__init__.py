"""Branches, flow and tanks: which fixtures are filtered, and whether pump, pressure and tanks can bear it."""

from brewwater.plumbing.build import build_tree, follow, hang
from brewwater.plumbing.check import Check
from brewwater.plumbing.decisions import BranchDecision, decisions
from brewwater.plumbing.drawing import drawing
from brewwater.plumbing.fit import fit
from brewwater.plumbing.fit_tanks import Day, day_of
from brewwater.plumbing.flow import pipe_loss_psi
from brewwater.plumbing.lists import Adapter, Step, adapters, cautions, change, commissioning, sanitise, winter
from brewwater.plumbing.network import Network
from brewwater.plumbing.parts import (
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
from brewwater.plumbing.problems import TreeProblem, tree_problems
from brewwater.plumbing.sizing import Sizing, size
from brewwater.plumbing.tanks import WasteRule, bleach_fl_oz, sanitising, waste_rule
from brewwater.plumbing.tree import Node, PlumbingTree, move

__all__ = [
    "Accumulator",
    "Adapter",
    "Branch",
    "BranchDecision",
    "Check",
    "Day",
    "Heater",
    "Known",
    "Network",
    "Node",
    "Pipe",
    "Place",
    "PlumbingTree",
    "Pump",
    "Sizing",
    "Step",
    "TreeProblem",
    "Unit",
    "WasteRule",
    "Weights",
    "adapters",
    "bleach_fl_oz",
    "build_tree",
    "cautions",
    "change",
    "commissioning",
    "day_of",
    "decisions",
    "drawing",
    "fit",
    "follow",
    "hang",
    "known",
    "move",
    "pipe_loss_psi",
    "sanitise",
    "sanitising",
    "size",
    "tree_problems",
    "unit_template",
    "waste_rule",
    "winter",
]
