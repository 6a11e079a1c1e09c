"""The nearest difference of two models that can be seen, found in what the original reaches."""

from __future__ import annotations

from dataclasses import replace

from interlock.engines.enumerate.known import Known
from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, Expr, ne, or_
from interlock.kernel.system import MoveKind, Stepper
from interlock.kernel.witness import Step, Witness
from interlock.model.build import Built
from interlock.studies.challenge.alike import difference, seen_in_plant


def nearest_difference(known: Known, original: Built, changed: Built) -> Witness | None:
    """A shortest run to what can be seen to differ, where the first difference can be seen.

    None where the models first differ in what they remember: what can be seen of that, and when,
    only running both tells.
    """
    differs = difference(original, changed)
    if differs is None:
        return None
    at_once = or_(*seen_in_plant(original, changed))
    found = known.first([differs, at_once, _seen_after_scan(original, changed)])
    numbers = [None if entry is None else entry[1] for entry in found]
    if numbers[0] is None:
        return None
    depth = known.depth_of(numbers[0])
    if numbers[1] is not None and known.depth_of(numbers[1]) == depth:
        return known.witness_to(numbers[1])
    if numbers[2] is not None and known.depth_of(numbers[2]) == depth:
        before = known.witness_to(numbers[2])
        scan = next(move for move in original.system.moves if move.kind is MoveKind.SCAN)
        after = Stepper(original.system).after(before.last, scan)
        return replace(before, steps=(*before.steps, Step(scan.name, after)))
    return None


def _seen_after_scan(original: Built, changed: Built) -> Expr:
    """Whether an output differs after the next scan."""
    names = [name.casefold() for name in original.model.outputs]
    pair = []
    for built in (original, changed):
        scan = next((m for m in built.system.moves if m.kind is MoveKind.SCAN), None)
        if scan is None:
            return FALSE
        pair.append(ex.substitute([built.truth[name] for name in names], scan.updates))
    return or_(*(ne(a, b) for a, b in zip(*pair, strict=True)))
