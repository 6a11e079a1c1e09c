"""Verdicts of two models side by side, and what became worse."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from interlock.engines import projector
from interlock.judgement.fault_sets import FaultSet, RequirementSets, sets_of_all
from interlock.judgement.finding import Finding, Verification
from interlock.kernel.query import Limits, ProgressSink
from interlock.kernel.requirement import Outcome
from interlock.model.build import GENERATED, RunClass, build
from interlock.model.model import Model


class Effect(Enum):
    """What the change does to a requirement."""

    SAME = "same"
    BETTER = "better"
    TESTED = "now put to the test"  # it holds in both, and its premise occurs in the new one only
    WORSE = "worse"
    DROPPED = "no longer asked"
    ASKED_ANEW = "asked anew"
    RESTATED = "asked otherwise, and the old statement holds, too"
    UNDECIDED = "undecided"


@dataclass(frozen=True)
class Former:
    """What the old model asked, judged on the new one, where that asks otherwise or less.

    Attributes
    ----------
    asks_less : tuple of str
        In what the new model asks otherwise or less.
    why_not : str
        Why the old statement could not be carried over to the new model; empty where it could.
    finding : Finding or None
        Of the old statement on the new model, without faults.
    claims_less : bool
        Fewer faults are claimed to be survived, or fewer are counted.
    claim : Outcome or None
        Whether the new model survives what the old one claimed; None where it was not judged.
    """

    asks_less: tuple[str, ...]
    why_not: str = ""
    finding: Finding | None = None
    claims_less: bool = False
    claim: Outcome | None = None

    @property
    def says(self) -> str:
        """What became of it, in words."""
        if self.why_not:
            return f"the old statement cannot be judged on the new model: {self.why_not}"
        words = []
        if self.finding is not None:
            verb = "holds" if self.finding.says == "holds" else f"is {self.finding.says}"
            words.append(f"the old statement {verb} on the new model")
        if self.claims_less:
            claim = "was not judged" if self.claim is None else _CLAIM_WORDS[self.claim]
            words.append(f"the old claim to survive faults {claim}")
        return ", ".join(words)


_CLAIM_WORDS = {
    Outcome.HOLDS: "holds on the new model",
    Outcome.VIOLATED: "is violated on the new model",
    Outcome.UNDECIDED: "is undecided on the new model",
}


@dataclass(frozen=True)
class VerdictComparison:
    """A requirement in both models.

    Attributes
    ----------
    id, says : str
    old, new : Finding or None
        Its fault-free finding; None where the model does not ask it.
    old_sets, new_sets : RequirementSets or None
        The minimal sets of faults that break it, where faults were looked at.
    former : Former or None
        None where the new model asks the same.
    """

    id: str
    says: str
    old: Finding | None
    new: Finding | None
    old_sets: RequirementSets | None = None
    new_sets: RequirementSets | None = None
    former: Former | None = None

    @property
    def effect(self) -> Effect:
        """The worst of what happens to its verdict without faults and to its claim."""
        effects = [_effect(self.old, self.new, self.id)]
        if self.old is not None and self.new is not None and self.old_sets and self.new_sets:
            claims = (self.claim(self.old_sets, self.old), self.claim(self.new_sets, self.new))
            effects.append(_by_rank(*(_RANKS.get(claim) for claim in claims)))
        if self.former is not None and self.old is not None and self.new is not None:
            effects += self._former_effects(self.former, self.old, self.new)
        return next((effect for effect in _ORDER if effect in effects), Effect.SAME)

    @staticmethod
    def claim(sets: RequirementSets | None, finding: Finding | None) -> Outcome | None:
        """Whether it survives as many faults as it claims; None where it claims none."""
        if sets is None or finding is None or not finding.requirement.survives:
            return None
        return sets.survives(finding.requirement.survives)

    def _former_effects(self, former: Former, old: Finding, new: Finding) -> list[Effect]:
        """What follows from the old statement and the old claim, judged on the new model.

        What the new model asks less counts as worse unless the old one holds there: it must not
        pass because it is asked less.
        """
        if former.finding is None:
            return [Effect.UNDECIDED]
        before, there, now = _rank(old), _rank(former.finding), _rank(new)
        effects = [_by_rank(before, there)]
        if there is not None and now is not None and there < now:
            effects.append(Effect.WORSE)
        if former.claims_less and former.claim is not Outcome.HOLDS:
            is_open = former.claim is Outcome.UNDECIDED
            effects.append(Effect.UNDECIDED if is_open else Effect.WORSE)
        kept = all(e not in (Effect.WORSE, Effect.UNDECIDED) for e in effects)
        return [Effect.RESTATED] if kept else effects

    @property
    def is_worse(self) -> bool:
        """Whether the new model keeps less than the old one did."""
        return self.effect in (Effect.WORSE, Effect.DROPPED)

    @property
    def newly_vacuous(self) -> bool:
        """Whether its premise never occurs in the new model, and did in the old one if asked."""
        before = self.old is not None and self.old.verdict.vacuous
        return self.new is not None and self.new.verdict.vacuous and not before

    @property
    def gained_sets(self) -> tuple[FaultSet, ...]:
        """Minimal sets of faults that break it in the new model only."""
        return _only(self.new_sets, self.old_sets)

    @property
    def lost_sets(self) -> tuple[FaultSet, ...]:
        """Minimal sets of faults that broke it in the old model only."""
        return _only(self.old_sets, self.new_sets)


_ORDER = (
    Effect.WORSE,
    Effect.UNDECIDED,
    Effect.DROPPED,
    Effect.ASKED_ANEW,
    Effect.BETTER,
    Effect.TESTED,
    Effect.RESTATED,
)
_RANKS: Mapping[Outcome | None, int | None] = {
    None: 3,
    Outcome.HOLDS: 3,
    Outcome.VIOLATED: 1,
    Outcome.UNDECIDED: None,
}


def _rank(finding: Finding) -> int | None:
    if finding.verdict.vacuous:
        return 2
    return _RANKS[finding.outcome]


def _effect(old: Finding | None, new: Finding | None, id_: str) -> Effect:
    if new is None:
        assert old is not None
        if id_ in GENERATED:
            # It is asked wherever arithmetic, or time, could go wrong: here none can any more.
            return _by_rank(_rank(old), 3)
        return Effect.DROPPED
    if old is None:
        # What was never asked counts as kept, so that a new demand cannot pass unmet.
        effect = _by_rank(3, _rank(new))
        return Effect.ASKED_ANEW if effect is Effect.SAME else effect
    if old.verdict.vacuous and new.verdict.outcome is Outcome.HOLDS and not new.verdict.vacuous:
        # What a change makes possible for the first time is no improvement, though it is kept.
        return Effect.TESTED
    return _by_rank(_rank(old), _rank(new))


def _by_rank(old: int | None, new: int | None) -> Effect:
    if new is None or (old is None and new > 1):
        return Effect.UNDECIDED
    if old is None:
        return Effect.WORSE
    if new == old:
        return Effect.SAME
    return Effect.WORSE if new < old else Effect.BETTER


def _only(here: RequirementSets | None, there: RequirementSets | None) -> tuple[FaultSet, ...]:
    if here is None or there is None:
        return ()
    known = {frozenset(one) for one in there.sets}
    return tuple(one for one in here.sets if frozenset(one) not in known)


def compare_verdicts(
    old: Verification,
    new: Verification,
    sets: tuple[Mapping[str, RequirementSets], Mapping[str, RequirementSets]] = ({}, {}),
    former: Mapping[str, Former] | None = None,
) -> tuple[VerdictComparison, ...]:
    """The verdicts side by side, in the new model's order, then what is no longer asked."""
    was = {finding.requirement.id: finding for finding in old.findings}
    now = {finding.requirement.id: finding for finding in new.findings}
    found = []
    for id_ in dict.fromkeys((*now, *was)):
        before, after = was.get(id_), now.get(id_)
        told = after or before
        assert told is not None
        says = told.requirement.says
        both = sets[0].get(id_), sets[1].get(id_)
        found.append(VerdictComparison(id_, says, before, after, *both, (former or {}).get(id_)))
    return tuple(found)


def counted_faults(model: Model, other: Model, only: Sequence[str] = ()) -> tuple[str, ...]:
    """The faults of `model` that a comparison with `other` looks at.

    They are those in `only` that the model has, or all independent ones: common causes are left
    out then, since a claim counts independent component faults. One that is a common cause here
    and independent in the other model counts only there, since that is what the change does.
    """
    if not only:
        return model.independent_faults
    now_counted = {f for f in other.independent_faults if f in model.faults}
    return tuple(
        id_
        for id_, fault in model.faults.items()
        if id_ in only and not (fault.common_cause and id_ in now_counted)
    )


def minimal_sets(
    model: Model,
    order: int,
    faults: tuple[str, ...],
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> dict[str, RequirementSets]:
    """Every minimal set of up to `order` of `faults` that breaks a requirement."""
    built = build(model, RunClass(faults, order))
    if not built.requirements:
        return {}
    return sets_of_all(
        built,
        built.requirements.values(),
        lambda asked, ids: projector().project(asked.system, tuple(ids), limits, progress),
    )
