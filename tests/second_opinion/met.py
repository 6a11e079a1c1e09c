"""What compared models and requirements are made of: what is absent agrees with anything."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.model.fault import Fault
from interlock.model.model import Model
from tests.second_opinion.opinion import Opinion
from tests.second_opinion.world import Class


def met_in_model(model: Model, run_class: Class) -> Iterator[str]:
    """What the model is made of, and in which class it is judged, each named once."""
    yield f"model with '{model.between_scans}' between scans"
    yield f"model with {model.settings.timers.value} timers"
    blocks = {instance.block for instance in model.program.instances}
    yield from (f"model with a {block}" for block in sorted(blocks))
    declared = [*model.program.variables, *model.program.instances]
    if any(one.retain for one in declared):
        yield "model with RETAIN"
    if any(move.may for move in model.moves):
        yield "model with moves that need not happen"
    if any(move.bounces for move in model.moves):
        yield "model with controls that bounce"
    if run_class.human:
        yield "model with human errors"
    bound = "any number of" if run_class.at_most is None else f"at most {run_class.at_most}"
    yield f"model under {bound} faults"
    kinds = {kind for fault in model.live_faults for kind in kinds_of(fault)}
    yield from (f"model with a fault: {kind}" for kind in sorted(kinds))


def met_in_requirement(model: Model, id_: str, opinion: Opinion) -> Iterator[str]:
    """The requirement's pattern and scope, each with what is thought of it."""
    thought = "vacuous" if opinion.is_vacuous else "violated" if opinion.is_violated else "holds"
    yield f"requirement {thought}"
    given = model.statements.get(id_)
    if given is None:
        yield f"arithmetic {thought}"
        return
    bounded = " within a bound" if given.within else ""
    yield f"pattern {given.pattern.value}{bounded} {thought}"
    yield f"scope {given.scope.value} {thought}"
    if given.after_scan:
        yield f"judged after scan {thought}"
    if given.about_signals:
        yield f"about signals {thought}"


def met_in_sets(model: Model, opinion: Opinion) -> Iterator[str]:
    """How large the minimal sets are, and which kinds of faults are in them."""
    for one in opinion.sets:
        yield f"set of {len(one)} faults"
        for id_ in one:
            yield from (f"set with a fault: {kind}" for kind in kinds_of(model.faults[id_]))


def kinds_of(fault: Fault) -> Iterator[str]:
    """What a fault does, in a few words for each effect."""
    for kind, site, limited in {(e.kind.name, e.site, bool(e.states)) for e in fault.effects}:
        yield f"{site.value} {kind}{' in some states' if limited else ''}"
    if fault.intermittent:
        yield "intermittent"
    if not fault.effects:
        yield "read by guards and terms"
