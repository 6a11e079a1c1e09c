"""Two programs tried side by side: whether what one does in random scans the other does as well.

To try is no proof. It is for those who wrote a program anew and want to notice their own mistakes;
what a verdict rests on is decided by exploration.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from interlock.st import typed as ty
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.types import span_of

_TRIED = 12
# Larger numbers than those around the ends of a type and around 0 seldom decide anything.
_SMALL = 12


@dataclass(frozen=True)
class Difference:
    """Where two programs differ.

    Attributes
    ----------
    scan : int
        Counted from 1.
    name : str
        Of the variable; empty where they have other inputs.
    values : tuple of int
        In the one and in the other.
    """

    scan: int
    name: str
    values: tuple[int, int]


def difference(
    one: ty.Program,
    other: ty.Program,
    *,
    settings: Settings | None = None,
    n_scans: int = 400,
    seed: int = 0,
) -> Difference | None:
    """The first difference in random scans of two programs; None where none was seen.

    What is compared are the variables that both have, inner ones too.

    Parameters
    ----------
    one, other : typed.Program
    settings : Settings, optional
        Of both; a program that reads ET needs counted timers.
    n_scans : int, optional
    seed : int, optional
    """
    inputs = [(v.name, span_of(v.type)) for v in one.inputs]
    if sorted(inputs) != sorted((v.name, span_of(v.type)) for v in other.inputs):
        return Difference(0, "", (len(one.inputs), len(other.inputs)))
    chance = random.Random(seed)
    controllers = [Controller(program, settings or Settings()) for program in (one, other)]
    shared = sorted(set(controllers[0].names()) & set(controllers[1].names()))
    given = dict.fromkeys((name for name, _ in inputs), 0)
    for name, (least, most) in inputs:
        given[name] = min(max(0, least), most)
    for scan in range(1, n_scans + 1):
        # Now a few inputs change, now many, so that rare states come about as well.
        share = chance.choice((0.02, 0.1, 0.5))
        for name, (least, most) in inputs:
            if chance.random() < share:
                near = (max(least, -_SMALL), min(most, _SMALL))
                far = chance.random() < 1 / _TRIED or near[0] > near[1]
                given[name] = chance.randint(*((least, most) if far else near))
        running = sorted(set(controllers[0].running_timers()))
        if running and chance.random() < 1 / 2:
            timer = chance.choice(running)
            for controller in controllers:
                if timer in controller.running_timers():
                    controller.elapse(timer)
        for controller in controllers:
            controller.scan(given)
        for name in shared:
            values = (controllers[0].read(name), controllers[1].read(name))
            if values[0] != values[1]:
                return Difference(scan, name, values)
    return None
