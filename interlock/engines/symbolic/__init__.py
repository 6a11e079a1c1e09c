"""The symbolic engine: sets of states as decision diagrams."""

from interlock.engines.symbolic.engine import SymbolicEngine

__all__ = ["SymbolicEngine"]
