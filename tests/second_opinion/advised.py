"""What is said to be kept with an advised permissive, against the model with it inserted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from interlock.commands.advise.study import advise
from interlock.engines import catalogue
from interlock.kernel.requirement import Pattern
from interlock.model.model import Model
from tests.second_opinion.opinion import opinions
from tests.second_opinion.world import Class

# Of these it is told what comes of the output at will, which may be more than with it inserted.
_FORBIDDING = (Pattern.NEVER, Pattern.ALWAYS, Pattern.ONLY_AFTER)


def advised(model: Model, counts: Counter[str]) -> Iterator[str]:
    """What is not so of what is advised for the outputs of `model`, in words."""
    counts["models"] += 1
    for advice in advise(model, catalogue()["reference"]()).advices:
        counts["outputs"] += advice.permissive is not None
        if advice.permissive is None:
            continue
        others = advice.others
        told = dict.fromkeys((*advice.kept, *others.kept), "kept")
        told |= dict.fromkeys(others.not_kept, "not kept")
        for id_, opinion in opinions(advice.inserted(model), Class()).items():
            said = told.get(id_)
            if said is None:
                continue
            is_violated = opinion.is_violated
            counts[f"{said}, {'violated' if is_violated else 'holds'} inserted"] += 1
            known = model.statements.get(id_)
            at_will = known is None or known.pattern in _FORBIDDING
            if is_violated == (said == "kept") and (is_violated or not at_will):
                yield f"{advice.output}, {id_}: {said} with {advice.text}, but {opinion}"
        missing = set(model.statements) - set(told) - set(advice.lost)
        if missing:
            yield f"{advice.output}: nothing is said of {sorted(missing)}"
