"""The symbolic engine: sets of states as decision diagrams."""

from interlock.engines.symbolic.cutsets import CutSets, minimal_cut_sets
from interlock.engines.symbolic.engine import SymbolicEngine

__all__ = ["CutSets", "SymbolicEngine", "minimal_cut_sets"]
