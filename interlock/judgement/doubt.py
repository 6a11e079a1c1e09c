"""What may not be said to hold of a model of which more was explored than it does.

Where something was taken as any value (`interlock.st.any_values`, `elaborate.strangers`), every run
of the program was explored, and runs that it has not. What holds of every run holds of the
program's. That something can be reached is no such thing: a run that the program has not may be the
only one that leads there. Nor were the flaws of the arithmetic judged whose place the value took.

In a model with time the same goes for quantities of the plant, of which no more is known than their
band.
"""

from __future__ import annotations

from dataclasses import replace

from interlock.kernel.patterns import PATTERNS
from interlock.kernel.requirement import Outcome, Requirement, Verdict
from interlock.model.build import ARITHMETIC
from interlock.model.model import Model


def doubted(model: Model, requirement: Requirement, verdict: Verdict) -> Verdict:
    """The verdict, undecided where it holds only of what was explored."""
    doubt = "" if verdict.outcome is not Outcome.HOLDS else doubt_of(model, requirement)
    if not doubt:
        return verdict
    return replace(verdict, outcome=Outcome.UNDECIDED, doubt=doubt, limit=_taken(model))


def _taken(model: Model) -> str:
    programs = [controller.program for controller in model.controllers]
    if any(program.any_values for program in programs):
        return "taken as any value"
    return "left out" if any(program.unjudged for program in programs) else "known by bands only"


def doubt_of(model: Model, requirement: Requirement) -> str:
    """Why a requirement cannot be said to hold where nothing violates it; empty if it can."""
    given = {name.casefold() for name, sensor in model.sensors.items() if not sensor.is_free}
    taken = [
        one
        for controller in model.controllers
        for one in controller.program.any_values
        if one.input.casefold() not in given
    ]
    if taken and not PATTERNS[requirement.pattern].is_of_runs:
        return (
            f"'{taken[0].input}' was taken as any value, see {taken[0].place}: the way there may "
            "need values that the program never computes"
        )
    if model.timing is not None and not PATTERNS[requirement.pattern].is_of_runs:
        for quantity in model.quantities:
            return (
                f"of '{quantity.name}' no more is known than the band that it is in: the way there "
                "may need it to come farther than it can"
            )
    left_out = [flaw for one in model.controllers for flaw in one.program.unjudged]
    if requirement.id == ARITHMETIC and left_out:
        flaw = left_out[0]
        return f"what was left out or joined was not judged: {flaw.says}, see {flaw.place}"
    failing = [one for one in taken if one.flaws]
    if requirement.id == ARITHMETIC and failing:
        flaw = failing[0].flaws[0]
        return f"'{failing[0].input}' was taken as any value, and {flaw.says}, see {flaw.place}"
    return ""
