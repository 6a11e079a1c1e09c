"""A design change as a whole: files, verdicts, behaviour and moves of two models."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar, cast

from interlock.commands.compare.behaviour import Behaviour, Likeness, run_in_lockstep
from interlock.commands.compare.differences import Difference
from interlock.commands.compare.files import model_differences
from interlock.commands.compare.former import Counting, judge_former
from interlock.commands.compare.moves import MoveComparison, MoveStudy
from interlock.commands.compare.product import NotApplicableError
from interlock.commands.compare.spread import Spread
from interlock.commands.compare.unknown_code import refuse_unknown_code
from interlock.commands.compare.verdicts import (
    Effect,
    VerdictComparison,
    compare_verdicts,
    counted_faults,
    minimal_sets,
)
from interlock.judgement.fault_sets import RequirementSets
from interlock.judgement.finding import Verification
from interlock.judgement.ledger import Leaning, Ledger, find_ledger
from interlock.judgement.verify import verify
from interlock.kernel.query import Engine, Limits, ProgressSink, labelled
from interlock.kernel.requirement import Outcome
from interlock.model.build import Built, build
from interlock.model.model import Model

Found = TypeVar("Found")

# What of a model file belongs to the plant and to how it is run, not to the controller.
PLANT_SECTIONS = ("machine", "control", "move", "sensor", "term", "run")


@dataclass(frozen=True)
class Comparison:
    """Everything that comparing two models showed.

    Attributes
    ----------
    old, new : Verification
        Without faults.
    differences : tuple of Difference
    verdicts : tuple of VerdictComparison
    behaviour : Behaviour or None
        None where the controllers cannot run on one plant.
    not_applicable : str
        Why they cannot; empty where they can.
    moves : MoveComparison
    spread : Spread
        What behaves otherwise because of the change.
    order : int
        Sets of so many faults were looked for; 0 where faults were left out.
    faults : tuple of str
        Only these were looked at; all independent ones where empty.
    ledgers : pair of Ledger, or None
        On what both models' verdicts without faults lean between scans, where that was asked.
    """

    old: Verification
    new: Verification
    differences: tuple[Difference, ...]
    verdicts: tuple[VerdictComparison, ...]
    behaviour: Behaviour | None
    not_applicable: str
    moves: MoveComparison
    spread: Spread
    order: int = 0
    faults: tuple[str, ...] = ()
    ledgers: tuple[Ledger, Ledger] | None = None

    @property
    def leaning(self) -> tuple[Leaning, ...]:
        """What holds in the new model only by an assumption that the old one did not need.

        Empty where the ledgers were not asked for.
        """
        if self.ledgers is None:
            return ()
        old, new = self.ledgers
        between = {one.requirement: one for one in old.leanings}
        firm = {one.requirement for one in old.on_old_values if one.falls_with is None}
        return tuple(
            one
            for one in new.leanings
            if one.leans
            and one.requirement in between
            and one.falls_with in between[one.requirement].holds_with
        ) + tuple(one for one in new.on_old_values if one.leans and one.requirement in firm)

    @property
    def old_model(self) -> Model:
        """The model before the change."""
        return self.old.built.model

    @property
    def new_model(self) -> Model:
        """The model after the change."""
        return self.new.built.model

    @property
    def plant_differs(self) -> bool:
        """Whether more than the controller changed."""
        return any(d.section in PLANT_SECTIONS and not d.is_wording for d in self.differences)

    @property
    def worse(self) -> tuple[str, ...]:
        """The requirements that the new model keeps less well."""
        return tuple(v.id for v in self.verdicts if v.is_worse)

    @property
    def outcome(self) -> Outcome:
        """Violated if a requirement is worse; else undecided if anything is; else holds."""
        if self.worse:
            return Outcome.VIOLATED
        open_ = any(v.effect is Effect.UNDECIDED for v in self.verdicts) or bool(self.moves.limits)
        if self.behaviour is not None:
            open_ |= any(o.likeness is Likeness.UNDECIDED for o in self.behaviour.outputs)
        return Outcome.UNDECIDED if open_ else Outcome.HOLDS


class KeptOfOld:
    """What was found of the old model, for the next revision of which the same is asked."""

    def __init__(self) -> None:
        self._found: dict[Hashable, object] = {}

    def once(self, what: Hashable, find: Callable[[], Found]) -> Found:
        """What `find` gave for `what`, which tells everything that it depends on."""
        if what not in self._found:
            self._found[what] = find()
        return cast("Found", self._found[what])


def compare(
    old: Model,
    new: Model,
    engine: Engine,
    with_faults: bool = False,
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
    faults: Sequence[str] = (),
    with_ledger: bool = False,
    kept: KeptOfOld | None = None,
) -> Comparison:
    """Compare two models.

    Parameters
    ----------
    old, new : Model
    engine : Engine
    with_faults : bool
        Whether to judge claims to survive faults, too, by the minimal sets of faults up to the
        greatest number that a requirement of either model claims to survive.
    faults : sequence of str
        Look at these faults only, each in the models that have it; one that is a common cause in
        one model and independent in the other counts in the other only.
    limits : Limits
        For each exploration; what they cut short is undecided.
    progress : callable, optional
    with_ledger : bool
        Whether to ask which verdicts lean on what is assumed between two scans.
    kept : KeptOfOld, optional
        Of other revisions of `old` with the same engine and limits, and for the next ones.

    Raises
    ------
    InputError
        Where the programs differ and call code that is not in their files.
    InternalError
        Where a run does not replay.
    """
    refuse_unknown_code(old, new)
    staged = partial(labelled, progress)
    built = build(old), build(new)
    moves = MoveStudy(*built)
    kept = kept or KeptOfOld()
    of_old, of_new = moves.queries
    judged = partial(verify, engine=engine, limits=limits)
    before = kept.once(
        ("verdicts", tuple(of_old)), lambda: judged(old, progress=staged("old"), beside=of_old)
    )
    after = judged(new, progress=staged("new"), beside=of_new)
    order = max(_most_claimed(old, new) if with_faults else 0, 1 if faults else 0)
    counted = counted_faults(old, new, faults), counted_faults(new, old, faults)
    broken = partial(minimal_sets, order=order, limits=limits)
    sets: tuple[_Sets, _Sets] = ({}, {})
    if order:
        of_first = partial(broken, old, faults=counted[0], progress=staged("faults of the old"))
        in_new = broken(new, faults=counted[1], progress=staged("faults of the new"))
        sets = kept.once(("minimal sets", order, counted[0]), of_first), in_new
    counting = Counting(order, counted, bool(faults), sets[1])
    former = judge_former(before, after, counting, engine, limits, progress)
    behaviour, reason = _in_lockstep(*built, engine, limits, staged("lockstep"))
    seen = (before.beside, before.exploration.limit), (after.beside, after.exploration.limit)
    moved = moves.result(seen, engine, limits, staged("moves"))
    spread = Spread((old, new), model_differences(old, new), behaviour, reason, moved)
    return Comparison(
        old=before,
        new=after,
        differences=spread.differences,
        verdicts=compare_verdicts(before, after, sets, former),
        behaviour=None if behaviour is None else _as_a_whole(behaviour, spread),
        not_applicable=reason,
        moves=moved,
        spread=spread,
        order=order,
        faults=tuple(faults),
        ledgers=_ledgers(before, after, engine, limits, staged) if with_ledger else None,
    )


def _in_lockstep(
    old: Built, new: Built, engine: Engine, limits: Limits, progress: ProgressSink | None
) -> tuple[Behaviour | None, str]:
    """The behaviour of both controllers, or why they cannot run on one plant."""
    try:
        return run_in_lockstep(old, new, engine, limits, progress), ""
    except NotApplicableError as error:
        return None, str(error)


def _ledgers(
    before: Verification,
    after: Verification,
    engine: Engine,
    limits: Limits,
    staged: Callable[[str], ProgressSink | None],
) -> tuple[Ledger, Ledger]:
    return (
        find_ledger(before, verify, engine, limits, staged("ledger of the old")),
        find_ledger(after, verify, engine, limits, staged("ledger of the new")),
    )


def _as_a_whole(behaviour: Behaviour, spread: Spread) -> Behaviour:
    """The behaviour, 'equal' only where what stands behind an output moves as before, too."""
    if behaviour.on_new is None:
        return behaviour
    outputs = [
        replace(o, likeness=Likeness.EITHER_PLANT)
        if o.likeness is Likeness.EQUAL and spread.reasons.touches(o.output.casefold())
        else o
        for o in behaviour.outputs
    ]
    return replace(behaviour, outputs=tuple(outputs))


_Sets = Mapping[str, RequirementSets]


def _most_claimed(*models: Model) -> int:
    """The most faults that a requirement claims to survive."""
    return max((s.survives for model in models for s in model.statements.values()), default=0)
