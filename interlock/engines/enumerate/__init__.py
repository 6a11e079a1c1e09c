"""Explicit states: everything reachable, one by one, very fast."""

from interlock.engines.enumerate.engine import EnumeratingEngine

__all__ = ["EnumeratingEngine"]
