"""What the old model asked, judged on the new one, wherever that asks otherwise or less."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from interlock.commands.compare.carried import (
    Carried,
    carry_statements,
    uncounted_faults,
    with_faults_of,
)
from interlock.commands.compare.verdicts import Former, minimal_sets
from interlock.judgement.fault_sets import RequirementSets
from interlock.judgement.finding import Finding, Verification
from interlock.judgement.verify import verify
from interlock.kernel.query import Engine, Limits, ProgressSink, labelled
from interlock.kernel.requirement import Outcome
from interlock.model.model import Model, Statement


@dataclass(frozen=True)
class Counting:
    """How claims to survive faults are judged in a comparison.

    Attributes
    ----------
    order : int
        Sets of so many faults are looked for; 0 where faults are left out.
    counted : pair of tuple of str
        The faults that count in the old model and in the new one.
    only_some : bool
        They were named one by one, so that no claim can be shown with them.
    new_sets : mapping of str to RequirementSets
        Of the new model's requirements.
    """

    order: int = 0
    counted: tuple[tuple[str, ...], tuple[str, ...]] = ((), ())
    only_some: bool = False
    new_sets: Mapping[str, RequirementSets] | None = None


def judge_former(
    before: Verification,
    after: Verification,
    counting: Counting,
    engine: Engine,
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> dict[str, Former]:
    """By requirement: what the old model asked, where the new one asks otherwise or less.

    Raises
    ------
    InternalError
        Where a run does not replay on the new model.
    """
    old, new = before.built.model, after.built.model
    carried = carry_statements(old, after.built)
    found = {f.requirement.id: f for f in after.findings}
    if carried.differing:
        model = carried.asking(carried.differing)
        asked = verify(model, engine, limits=limits, progress=labelled(progress, "as before"))
        found |= {
            f.requirement.id: f for f in asked.findings if f.requirement.id in model.statements
        }
    claims = _Claims(old, new, carried, counting, limits, progress)
    former = {}
    for id_, statement in old.statements.items():
        one = _former(id_, statement, new, carried, found, claims)
        if one is not None:
            former[id_] = one
    return former


def _former(
    id_: str,
    statement: Statement,
    new: Model,
    carried: Carried,
    found: Mapping[str, Finding],
    claims: _Claims,
) -> Former | None:
    there = new.statements.get(id_)
    less = []
    if there is None:
        less.append("no longer asked")
    elif carried.now_errors:
        less.append(f"now a human error: {', '.join(carried.now_errors)}")
    elif id_ in carried.differing or id_ in carried.why_not:
        less.append("another statement")
    survives = 0 if there is None else there.survives
    if survives < statement.survives:
        less.append(f"survives {survives} where it was {statement.survives}")
    kept = () if there is None else there.hazards
    less += [f"no longer for {hazard}" for hazard in statement.hazards if hazard not in kept]
    if statement.survives and claims.no_longer_counted:
        less.append(f"no longer counts {', '.join(claims.no_longer_counted)}")
    if not less:
        return None
    if id_ in carried.why_not:
        return Former(tuple(less), why_not=carried.why_not[id_])
    claims_less = survives < statement.survives or claims.must_be_judged(id_)
    claim = claims.outcome(id_) if claims_less else None
    return Former(tuple(less), "", found[id_], claims_less, claim)


class _Claims:
    """Whether the new model survives what the old one claimed, with the faults of the old one."""

    def __init__(
        self,
        old: Model,
        new: Model,
        carried: Carried,
        counting: Counting,
        limits: Limits,
        progress: ProgressSink | None,
    ) -> None:
        self._old, self._carried, self._counting = old, carried, counting
        self._lost, self._unknown = (
            uncounted_faults(old, new, counting.counted) if counting.order else ((), ())
        )
        self._sets: Mapping[str, RequirementSets] = {}
        if not counting.order:
            return
        ids = [id_ for id_ in carried.model.statements if self.must_be_judged(id_)]
        if ids:
            model, added = with_faults_of(old, carried.asking(ids), self._lost)
            faults = (*counting.counted[1], *added)
            stage = labelled(progress, "faults of the old on the new")
            self._sets = minimal_sets(model, counting.order, faults, limits, stage)

    @property
    def no_longer_counted(self) -> tuple[str, ...]:
        """Old faults that the new model counts no longer, or with another effect."""
        return (*self._lost, *self._unknown)

    def must_be_judged(self, id_: str) -> bool:
        """Whether an old claim is not judged by the new model's own sets of faults."""
        if not self._counting.order or not self._old.statements[id_].survives:
            return False
        return bool(self.no_longer_counted) or id_ in self._carried.differing

    def outcome(self, id_: str) -> Outcome | None:
        """Whether the old claim holds on the new model; None where that was not judged."""
        sets = self._sets.get(id_) or (self._counting.new_sets or {}).get(id_)
        if sets is None:
            return None
        outcome = sets.survives(self._old.statements[id_].survives)
        if outcome is Outcome.HOLDS and self._unknown:
            return Outcome.UNDECIDED
        return None if outcome is Outcome.HOLDS and self._counting.only_some else outcome
