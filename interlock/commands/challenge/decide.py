"""One seeded defect: does a requirement notice it, does it change anything, or is it a gap?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from interlock.commands.challenge.defects import Defect
from interlock.commands.challenge.equivalence import LockstepProduct, where_models_differ
from interlock.commands.challenge.from_kept_states import Caught, search_from_kept_states
from interlock.commands.challenge.kept_original import KeptOriginal, NeedsFullSearchError
from interlock.commands.challenge.later_difference import (
    difference_behind_the_first,
    difference_by_the_same_way,
)
from interlock.commands.challenge.results import DefectOutcome, DefectResult
from interlock.commands.challenge.shortest_difference import shortest_difference
from interlock.commands.challenge.varied_original import VariedOriginal
from interlock.independent_judge.judge import Replayed, replay
from interlock.independent_judge.story import tell_to_the_end
from interlock.judgement.engines import by_diagrams, state_by_state
from interlock.kernel.asking import ask_all
from interlock.kernel.query import Count, DeclinedError, Engine, Limits, Query, Reach
from interlock.kernel.requirement import Requirement
from interlock.kernel.varied import Varies
from interlock.kernel.witness import Witness
from interlock.model.build import Built, RunClass, build
from interlock.model.model import Model

# Most violations show within so many states; a look at these comes first.
FIRST_LOOK = 200_000
# A difference that shows at all mostly shows near; the nearest one is the shortest.
_NEARER = (200_000, 2_000_000)
# What a memory that differs leads to mostly shows within so many states.
_BEHIND = 50_000
# States behind a trap at which the judge looks.
_TRAP_LIMIT = 1_000
# Engines for which the original may be kept: state by state, or as a set of states.
_TABLES = ("auto", "enumerate")
_DIAGRAMS = ("auto", "symbolic")
# What a first look misses and what is not alike is looked at so many times as far: most defects
# that are noticed at all show long before everything was seen.
LOOK_AGAIN = 20
KnownOriginal = KeptOriginal | VariedOriginal
IN_LOCKSTEP = "no output and no possible move ever differs in lockstep"
# A run stays in a state for ever only if it owes nothing there; so a response might tell the two
# apart. No other sort of requirement can.
BUT_FOR_WHAT_IS_OWED = (
    f"{IN_LOCKSTEP}; whether the plant owes a move does, between a move and its scan, which only "
    "a response could notice"
)


@dataclass(frozen=True)
class Stage:
    """A run class, and the requirements that hold of the original in it and may catch defects.

    Attributes
    ----------
    undecided : tuple of str
        Requirements that the original left undecided; while there are any, no gap is certain.
    violated : tuple of str
        Those that the original violates, its arithmetic maybe among them: they notice nothing.
    """

    run_class: RunClass
    catching: tuple[str, ...]
    undecided: tuple[str, ...] = ()
    violated: tuple[str, ...] = ()


@dataclass(frozen=True)
class DefectDecider:
    """Decides defects of one model, one at a time: each way that there is, for others to order.

    Attributes
    ----------
    limits : Limits
        For each exploration.
    first_look : int
        States to look at before anything else is tried; 0 goes without.
    """

    model: Model
    engine: Engine
    limits: Limits = field(default_factory=Limits)
    first_look: int = FIRST_LOOK

    def original(self, stage: Stage) -> Built:
        """The original in the run class of `stage`."""
        return build(self.model, stage.run_class)

    def look_near_power_up(self, defect: Defect, stage: Stage, times: int = 1) -> DefectResult:
        """Look at the nearest states only: caught, or not known; ``limit`` None means all seen.

        `times` as many states as in a first look.
        """
        nearest = self._limits_of(times * self.first_look)
        built = self._changed(defect, stage)
        return self._ask(defect, built, self._catching(built, stage), nearest)

    def ask_all_requirements(self, defect: Defect, stage: Stage) -> DefectResult:
        """Caught, or undecided with the limit that was hit, or with none if nothing notices."""
        built = self._changed(defect, stage)
        return self._ask(defect, built, self._catching(built, stage), self.limits)

    def _changed(self, defect: Defect, stage: Stage) -> Built:
        return build(defect.applied_to(self.model), stage.run_class)

    def _catching(self, built: Built, stage: Stage) -> list[Requirement]:
        """What may catch; the changed program may leave a range, which the original cannot."""
        return [r for id_, r in built.requirements.items() if self._may_catch(id_, stage)]

    def _ask(
        self, defect: Defect, built: Built, requirements: Sequence[Requirement], limits: Limits
    ) -> DefectResult:
        questions = ask_all(built.system, requirements)
        asked = [(question, query) for question in questions for query in question.violations]
        explored = self.engine.explore(built.system, [query for _, query in asked], limits)
        found = [
            (question, answer.witness)
            for (question, _), answer in zip(asked, explored.answers, strict=True)
            if answer.found and answer.witness is not None
        ]
        if found:
            question, witness = min(found, key=lambda pair: len(pair[1]))
            caught = Caught(question, witness, explored.n_states, is_shortest=True)
            return self._caught(defect, built, caught)
        return DefectResult(
            defect.id,
            DefectOutcome.UNDECIDED,
            built.run_class.says,
            n_states=explored.n_states,
            limit=explored.limit,
        )

    def _may_catch(self, id_: str, stage: Stage) -> bool:
        known = (*self.model.statements, *stage.undecided, *stage.violated)
        return id_ in stage.catching or id_ not in known

    def _caught(self, defect: Defect, built: Built, caught: Caught) -> DefectResult:
        # Whether a trap has no way out at all was explored; the judge need not look far again.
        run = replay(built, caught.question, caught.witness, trap_limit=_TRAP_LIMIT)
        result = DefectResult(
            defect.id,
            DefectOutcome.CAUGHT,
            built.run_class.says,
            requirement=caught.question.requirement.id,
            n_states=caught.n_states,
            is_shortest=caught.is_shortest,
        )
        return _with_run(result, built.model, run)

    # From the kept states of the original

    @property
    def keeps_states(self) -> bool:
        """Whether the original may be kept at all; with time each defect is explored by itself."""
        return self.model.timing is None and self.engine.name in (*_TABLES, *_DIAGRAMS)

    def kept_original(self, stage: Stage) -> KnownOriginal | None:
        """The original with what it reaches; None where it cannot be kept.

        A table where its states are few, else a set.
        """
        if not self.keeps_states or stage.run_class.faults:
            return None
        original = self.original(stage)
        if self.engine.name in _DIAGRAMS and isinstance(self.engine, Varies):
            try:
                known = self.engine.vary(original.system, self.limits)
            except DeclinedError:
                known = None
            if known is not None:
                return VariedOriginal(original, known, stage.catching, self.limits)
        if self.engine.name not in _TABLES:
            return None
        try:
            return KeptOriginal(original, stage.catching, self.limits)
        except (NeedsFullSearchError, DeclinedError):
            return None

    def decide_from_kept_states(
        self, defect: Defect, stage: Stage, kept: KnownOriginal
    ) -> DefectResult:
        """Decide a defect from what the original reaches; undecided where that takes more."""
        changed = self._changed(defect, stage)
        try:
            found = (
                kept.search(changed)
                if isinstance(kept, VariedOriginal)
                else search_from_kept_states(kept, changed)
            )
        except (NeedsFullSearchError, DeclinedError):
            return DefectResult(defect.id, DefectOutcome.UNDECIDED, stage.run_class.says)
        if isinstance(found, Caught):
            return self._caught(defect, changed, found)
        lockstep = LockstepProduct(kept.original, changed)
        witness = shortest_difference(kept.nearest, kept.original, changed)
        if witness is None and isinstance(kept, KeptOriginal):
            return self._compare(defect, changed, lockstep, stage)
        is_shortest = witness is not None
        if witness is None and isinstance(kept, VariedOriginal):
            witness = self._later_difference(kept, lockstep)
        if witness is None:
            try:
                return self._compare(defect, changed, lockstep, stage, by_diagrams(), nearer=())
            except DeclinedError:
                return DefectResult(defect.id, DefectOutcome.UNDECIDED, stage.run_class.says)
        result = DefectResult(
            defect.id,
            DefectOutcome.UNDECIDED,
            stage.run_class.says,
            n_states=found.n_states,
            is_shortest=is_shortest,
        )
        return self._differing(result, changed, lockstep, witness, stage)

    def _later_difference(self, kept: VariedOriginal, lockstep: LockstepProduct) -> Witness | None:
        by_the_same_way = difference_by_the_same_way(kept.known, lockstep, self.limits)
        if by_the_same_way is not None:
            return by_the_same_way
        few = self._limits_of(_BEHIND)
        return difference_behind_the_first(kept.known, lockstep, state_by_state(), few)

    def _limits_of(self, most: int) -> Limits:
        """The limits of a look at no more than so many states."""
        return replace(self.limits, max_states=min(self.limits.max_states or most, most))

    # By explorations of their own

    def find_equivalent(
        self, defects: Sequence[Defect], stage: Stage, kept: KnownOriginal | None = None
    ) -> list[DefectResult]:
        """Ask of all `defects` in one exploration whether every move is alike.

        With the original kept, of the states that are kept.

        Returns
        -------
        list of DefectResult
            Equivalent, or undecided: with the limit that was hit, or with none where some move
            is not alike or where the defect remembers more than the original.
        """
        original = self.original(stage) if kept is None else kept.original
        differs = [
            where_models_differ(original, self._changed(defect, stage)) for defect in defects
        ]
        asked = [expr for expr in differs if expr is not None]
        if kept is not None:
            answers: Iterator[bool | None] = iter(kept.occur(asked))
            n_states, limit = kept.n_states, None
        else:
            queries = [Reach(expr) for expr in asked]
            explored = self.engine.explore(original.system, queries, self.limits)
            answers = iter([answer.found for answer in explored.answers])
            n_states, limit = explored.n_states, explored.limit
        results = []
        for defect, expr in zip(defects, differs, strict=True):
            found = True if expr is None else next(answers)
            result = DefectResult(
                defect.id,
                DefectOutcome.UNDECIDED,
                stage.run_class.says,
                n_states=n_states,
                limit=limit if found is None else None,
            )
            if found is False:
                shown_by = "every move alike in every reachable state"
                result = replace(result, outcome=DefectOutcome.EQUIVALENT, shown_by=shown_by)
            results.append(result)
        return results

    def compare_in_lockstep(self, defect: Defect, stage: Stage) -> DefectResult:
        """Run a defect that nothing catches in lockstep with the original: equivalent or a gap."""
        changed = self._changed(defect, stage)
        return self._compare(defect, changed, LockstepProduct(self.original(stage), changed), stage)

    def _compare(
        self,
        defect: Defect,
        changed: Built,
        lockstep: LockstepProduct,
        stage: Stage,
        engine: Engine | None = None,
        nearer: Sequence[int] = _NEARER,
    ) -> DefectResult:
        engine = engine or self.engine
        farthest = self.limits.max_states
        nearest = [most for most in nearer if farthest is None or most < farthest]
        for most in (*nearest, farthest):
            limits = replace(self.limits, max_states=most)
            # Whether the plant owes a move in one of the two only counts where else all is alike.
            asked: list[Query] = [Reach(lockstep.differs), Count(lockstep.owes_otherwise)]
            explored = engine.explore(lockstep.system, asked, limits)
            answer, owes = explored.answers
            if answer.found is not None:
                break
        result = DefectResult(
            defect.id,
            DefectOutcome.UNDECIDED,
            stage.run_class.says,
            n_states=explored.n_states,
            limit=explored.limit,
        )
        if answer.found is False:
            is_alike = owes.found is False and not owes.n_states
            shown_by = IN_LOCKSTEP if is_alike else BUT_FOR_WHAT_IS_OWED
            return replace(result, outcome=DefectOutcome.EQUIVALENT, shown_by=shown_by, limit=None)
        if answer.witness is None:
            return result
        return self._differing(result, changed, lockstep, answer.witness, stage)

    def _differing(
        self,
        result: DefectResult,
        changed: Built,
        lockstep: LockstepProduct,
        witness: Witness,
        stage: Stage,
    ) -> DefectResult:
        """What a run to the first difference makes of a defect that nothing caught."""
        run, differs = lockstep.replayed(witness)
        result = _with_run(replace(result, differs=differs, limit=None), changed.model, run)
        if stage.undecided:
            said = f"undecided of the original: {', '.join(stage.undecided)}"
            return replace(result, limit=said)
        return replace(result, outcome=DefectOutcome.GAP)


def _with_run(result: DefectResult, model: Model, run: Replayed) -> DefectResult:
    return replace(
        result,
        story=tuple(tell_to_the_end(model, run)),
        n_steps=len(run.happenings),
        loop_start=run.loop_start,
    )
