"""The nearest difference of two models that can be seen, found in the kept states."""

from __future__ import annotations

from dataclasses import replace

from interlock.commands.challenge.equivalence import differences_seen_in_plant, where_models_differ
from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, ne, or_
from interlock.kernel.kept import Kept
from interlock.kernel.system import Stepper
from interlock.kernel.witness import Step, Witness
from interlock.model.build import SCAN, Built


def shortest_difference(kept_states: Kept, original: Built, changed: Built) -> Witness | None:
    """A shortest run to what can be seen to differ, where the first difference can be seen.

    None where the models first differ in what they remember: what can be seen of that, and when,
    only running both tells.
    """
    differs = where_models_differ(original, changed)
    if differs is None:
        return None
    at_once = or_(*differences_seen_in_plant(original, changed))
    found = kept_states.first([differs, at_once, _seen_after_scan(original, changed)])
    numbers = [None if entry is None else entry[1] for entry in found]
    if numbers[0] is None:
        return None
    depth = kept_states.depth_of(numbers[0])
    if numbers[1] is not None and kept_states.depth_of(numbers[1]) == depth:
        return kept_states.witness_to(numbers[1])
    if numbers[2] is not None and kept_states.depth_of(numbers[2]) == depth:
        before = kept_states.witness_to(numbers[2])
        after = Stepper(original.system).after(before.last, original.system.move(SCAN))
        return replace(before, steps=(*before.steps, Step(SCAN, after)))
    return None


def _seen_after_scan(original: Built, changed: Built) -> Expr:
    """Whether an output differs after the next scan."""
    names = [name.casefold() for name in original.model.outputs]
    pair = [
        ex.substitute([built.truth[name] for name in names], built.system.move(SCAN).updates)
        for built in (original, changed)
    ]
    return or_(*(ne(a, b) for a, b in zip(*pair, strict=True)))
