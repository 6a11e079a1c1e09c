"""What the study of faults found, for the page; the only place of a report that reads it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from interlock.commands.faults import tell as fault_text
from interlock.commands.faults.likelihood import Likelihood, likelihood_of
from interlock.commands.faults.pictures import draw_fault_trees
from interlock.commands.faults.study import FaultStudy, order_words
from interlock.commands.faults.tolerance import Change
from interlock.commands.report.dossier import Dossier
from interlock.commands.report.figures import figures_of
from interlock.commands.report.findings_in_words import outcome_words
from interlock.judgement.fault_sets import FaultSet
from interlock.kernel.requirement import Outcome
from interlock.reliability.diagram import TooLargeError
from interlock.reliability.figures import two_figures

# So many sets of one requirement are listed; how many there are in all is always told.
MOST_SETS = 40


def requirement_faults(dossier: Dossier, id_: str) -> dict[str, Any] | None:
    """What faults do to one requirement; None where the study did not look at it."""
    study = dossier.faults
    if study is None or id_ not in study.sets:
        return None
    found = study.sets[id_]
    claimed = study.claimed(id_)
    n_sets = sum(found.n_by_order)
    return {
        "outcome": outcome_words(claimed),
        "claim": {**outcome_words(claimed), "says": f"claim {claimed.value}"},
        "tolerance": str(found.without(study.common_causes).tolerance),
        "with_causes": str(found.tolerance),
        "by_order": [(order, n) for order, n in enumerate(found.n_by_order) if n],
        "n_sets": n_sets,
        "sets": [_set(study, id_, one) for one in found.sets[:MOST_SETS]],
        "n_more": n_sets - len(found.sets[:MOST_SETS]),
        "limit": found.limit,
        "bound": order_words(study.options.order),
        "is_open": claimed is Outcome.UNDECIDED,
    }


def _set(study: FaultStudy, id_: str, faults: FaultSet) -> dict[str, Any]:
    told = study.latent_first(faults)
    return {
        "faults": told,
        "says": [fault_text.fault_words(study, fault) for fault in told],
        "harm": study.harm(faults[0], id_).value if len(faults) == 1 else "",
    }


def _change(change: Change) -> dict[str, Any]:
    """What a sensor is worth; requirements with the same loss for the same reason together."""
    losses: dict[tuple[str, str, tuple[FaultSet, ...]], list[str]] = {}
    for loss in change.losses:
        key = (str(loss.before), str(loss.after), loss.by)
        losses.setdefault(key, []).append(loss.requirement)
    return {"says": change.says, "losses": [(ids, *key) for key, ids in losses.items()]}


def faults_view(dossier: Dossier) -> dict[str, Any]:
    """The section of faults; empty where the study was not made."""
    study = dossier.faults
    if study is None:
        return {}
    live = study.model.live_faults
    trees = figures_of(draw_fault_trees(study))
    figures = list(_likelihoods(study))
    common = _common([row["rests_on"] for row in figures if not row["why"]])
    return {
        "n_live": len(live),
        "n_common": sum(fault.common_cause for fault in live),
        "n_assumed": sum(fault.assumed for fault in study.model.faults.values()),
        "order": order_words(study.options.order),
        "is_bounded": study.options.order is not None,
        "notes": fault_text.notes_of(study),
        "explorations": study.explorations,
        "modes": dossier.failure_modes,
        "changes": [_change(change) for change in study.changes],
        "figures": figures,
        "rest_on": common,
        "trees": trees,
        "tree_of": {tree.id.removeprefix("fault-tree-"): tree.id for tree in trees},
        "is_told": bool(study.effects),
        "cut": _limits(study),
    }


def _common(lists: Sequence[Sequence[str]]) -> list[str]:
    """What all of some lists say, in their order; it need not be said for each."""
    first = lists[0] if lists else ()
    return [line for line in first if all(line in other for other in lists)]


def _limits(study: FaultStudy) -> str:
    """The limits that cut something short, empty where nothing was."""
    found = {one.limit for one in study.explorations}
    found |= {one.limit for one in study.sets.values()}
    return ", ".join(sorted(limit for limit in found if limit is not None))


def _likelihoods(study: FaultStudy) -> Iterator[dict[str, Any]]:
    for id_ in study.requirements:
        try:
            found = likelihood_of(study, id_)
        except TooLargeError as reason:
            yield {"id": id_, "why": f"not worked out: {reason}"}
            continue
        if found is not None:
            yield {"id": id_, "why": "", **_figures(found)}


def _figures(found: Likelihood) -> dict[str, Any]:
    solution = found.solution
    bound = solution.min_cut_upper_bound.value
    ranked = sorted(solution.importance(), key=lambda i: -(i.fussell_vesely.value or 0))
    return {
        "probability": two_figures(solution.probability),
        "sum": two_figures(solution.rare_event_sum),
        "bound": "" if bound is None else two_figures(bound),
        "important": [
            (one.event.name, two_figures(one.fussell_vesely.value or 0)) for one in ranked[:3]
        ],
        "rests_on": found.assumptions,
        "without": found.without_figure,
    }
