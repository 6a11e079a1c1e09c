"""The symbolic engine: sets of states as decision diagrams."""

from interlock.engines.symbolic.cutsets import minimal_cut_sets
from interlock.engines.symbolic.engine import SymbolicEngine

__all__ = ["SymbolicEngine", "minimal_cut_sets"]
