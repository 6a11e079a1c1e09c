"""What one scan of a controller did."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from interlock.base.errors import Mistake, Place


@dataclass(frozen=True)
class Decision:
    """The assignment that decided an output in a scan, and what it changed."""

    place: Place
    name: str
    old: Any
    new: Any


@dataclass(frozen=True)
class ScanResult:
    """What one scan did.

    Attributes
    ----------
    outputs : dict of str to int
        Of a project executed as written, a REAL is a float.
    decided : tuple of Decision
        For each output that the scan changed, the last assignment to it.
    executed : tuple of Place
        Assignments, calls and taken branches, in the order executed.
    defects : tuple of Mistake
        Values that did not fit, divisions by zero, indexes outside.
    """

    outputs: dict[str, Any]
    decided: tuple[Decision, ...]
    executed: tuple[Place, ...]
    defects: tuple[Mistake, ...]
