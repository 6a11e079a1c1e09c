"""How likely the minimal sets are: the figures of the model put into a fault tree."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from interlock.commands.faults.study import FaultStudy, order_words
from interlock.judgement.fault_sets import FaultSet
from interlock.model.fault import Fault
from interlock.reliability.fault_tree import BasicEvent, EventKind, FaultTree
from interlock.reliability.quantify import Solution
from interlock.reliability.tree_loader import tree_from_cut_sets

ASSUMED = "assumed"
MOST_DRAWN = 24


@dataclass(frozen=True)
class Likelihood:
    """A requirement's minimal sets as a fault tree, with what its figures rest on.

    Attributes
    ----------
    requirement : str
    tree : FaultTree
        Of the sets whose faults all have a figure.
    solution : Solution
    assumptions : tuple of str
    without_figure : tuple of str
        Faults of some set that have none; sets with them are left out of every figure.
    """

    requirement: str
    tree: FaultTree
    solution: Solution
    assumptions: tuple[str, ...]
    without_figure: tuple[str, ...]


def event_of(fault: Fault, latent: bool = False) -> BasicEvent | None:
    """A fault as a basic event of a tree, or None where it has no figure.

    With a rate λ and an exposure t its probability is 1 − exp(−λt); a probability for each
    conversion is taken as it is.
    """
    kind = EventKind.LATENT if latent else EventKind.FAULT
    source = source_of(fault)
    says = fault.says + (f" [{ASSUMED}]" if fault.assumed else "")
    if fault.rate is not None and fault.exposure_h is not None:
        return BasicEvent.from_rate(fault.id, fault.rate, fault.exposure_h, says, source, kind)
    if fault.probability is not None:
        return BasicEvent(fault.id, fault.probability, says, source, kind)
    return None


def source_of(fault: Fault) -> str:
    """Where a fault's figure comes from; 'assumed' wherever it is."""
    parts = [fault.source or "", ASSUMED if fault.assumed else ""]
    return ", ".join(part for part in parts if part)


def likelihood_of(
    study: FaultStudy, id_: str, common_cause: bool = True, most_sets: int | None = None
) -> Likelihood | None:
    """The fault tree of a requirement; None where no fault is needed, or no set was found.

    Parameters
    ----------
    study : FaultStudy
    id_ : str
        The requirement.
    common_cause : bool
        Whether sets with common causes are in it.
    most_sets : int, optional
        How many sets to take, those of the fewest faults first; for a picture.

    Raises
    ------
    TooLargeError
        If the tree's diagram hits its limit.
    """
    found = study.sets[id_] if common_cause else study.sets[id_].without(study.common_causes)
    if not found.sets or found.sets[0] == ():
        return None
    faults = dict.fromkeys(fault for one in found.sets for fault in one)
    events = {id_: event_of(study.model.faults[id_], id_ in study.silent) for id_ in faults}
    known = {name: event for name, event in events.items() if event is not None}
    sets = [one for one in found.sets if all(fault in known for fault in one)][:most_sets]
    if not sets:
        return None
    requirement = found.requirement
    tree = tree_from_cut_sets(f"{id_} violated", sets, known)
    assumptions = tuple(_assumptions(study, sets))
    tree = FaultTree(
        tree.top,
        tree.nodes,
        title=f"{id_}: {requirement.says}",
        source=f"model {study.model.name}, {order_words(study.options.order)}",
        assumptions=assumptions,
    )
    lacking = tuple(name for name, event in events.items() if event is None)
    return Likelihood(id_, tree, Solution(tree), assumptions, lacking)


def _assumptions(study: FaultStudy, sets: Sequence[FaultSet]) -> Iterable[str]:
    faults = dict.fromkeys(fault for one in sets for fault in one)
    yield "basic events are independent but for the common causes named"
    yield "once its faults are there, harm follows: demand and time at risk count as certain"
    if study.options.order is not None:
        yield f"sets of more than {study.options.order} faults are left out"
    assumed = [id_ for id_ in faults if study.model.faults[id_].assumed]
    if assumed:
        yield f"{ASSUMED} figures: {', '.join(assumed)}"
    exposed = sum(study.model.faults[id_].exposure_h is not None for id_ in faults)
    if exposed:
        yield f"exposures are the model's, for {exposed} of {len(faults)} faults"
