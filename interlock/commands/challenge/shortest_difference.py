"""The nearest difference of two models that can be seen, found in what the original reaches."""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

from interlock.commands.challenge.equivalence import differences_seen_in_plant, where_models_differ
from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, ne, or_
from interlock.kernel.system import Stepper
from interlock.kernel.witness import Step, Witness
from interlock.model.build import SCAN, Built


class Nearest(Protocol):
    """Tells how the original comes to a condition."""

    def __call__(self, condition: Expr, most: int | None = None) -> Witness | None:
        """A shortest run, of at most so many moves; None without one."""


def shortest_difference(nearest: Nearest, original: Built, changed: Built) -> Witness | None:
    """A shortest run to what can be seen to differ, where the first difference can be seen.

    None where the models first differ in what they remember: what can be seen of that, and when,
    only running both tells.
    """
    differs = where_models_differ(original, changed)
    first = None if differs is None else nearest(differs)
    if first is None:
        return None
    # What can be seen differs, so neither of the two is nearer than the first difference.
    at_once = nearest(or_(*differences_seen_in_plant(original, changed)), len(first))
    if at_once is not None:
        return at_once
    before = nearest(seen_after_scan(original, changed), len(first))
    return None if before is None else after_scan(before, original)


def after_scan(run: Witness, original: Built) -> Witness:
    """A run of the original and one more scan."""
    after = Stepper(original.system).after(run.last, original.system.move(SCAN))
    return replace(run, steps=(*run.steps, Step(SCAN, after)))


def seen_after_scan(original: Built, changed: Built) -> Expr:
    """Whether an output differs after the next scan."""
    names = [name.casefold() for name in original.model.outputs]
    pair = [
        ex.substitute([built.truth[name] for name in names], built.system.move(SCAN).updates)
        for built in (original, changed)
    ]
    return or_(*(ne(a, b) for a, b in zip(*pair, strict=True)))
