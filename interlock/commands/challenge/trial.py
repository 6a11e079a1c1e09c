"""One defect on trial: does a requirement notice it, does it change anything, or is it a gap?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from enum import Enum
from typing import Any

from interlock.commands.challenge.alike import Lockstep, difference
from interlock.commands.challenge.attempt import Caught, try_near
from interlock.commands.challenge.defects import Defect
from interlock.commands.challenge.near import Near, OpenError
from interlock.commands.challenge.nearest import nearest_difference
from interlock.independent_judge.judge import Replayed, replay
from interlock.independent_judge.story import Line, tell_to_the_end
from interlock.judgement.verify import asked_apart
from interlock.kernel.observe import ask_together
from interlock.kernel.query import DeclinedError, Engine, Limits, Reach
from interlock.kernel.requirement import Requirement
from interlock.kernel.witness import Witness
from interlock.model.build import FAULT_FREE, Built, RunClass, build
from interlock.model.model import Model

# Most violations show within so many states; a look at these comes first.
FIRST_LOOK = 200_000
# A difference that shows at all mostly shows near; the nearest one is the shortest.
_NEARER = (200_000, 2_000_000)
# States behind a trap at which the judge looks.
_TRAP_LIMIT = 1_000
# Engines for which the original may be kept, state by state.
_KEEPING = ("auto", "enumerate")
# What a first look misses and what is not alike is looked at so many times as far: most defects
# that are noticed at all show long before everything was seen.
LOOK_AGAIN = 20


class Outcome(Enum):
    """What became of a defect."""

    CAUGHT = "caught"
    EQUIVALENT = "equivalent"
    GAP = "gap"
    UNDECIDED = "undecided"


@dataclass(frozen=True)
class Trial:
    """What is known of one defect.

    Attributes
    ----------
    defect : str
        Its id.
    outcome : Outcome
    run_class : str
        The run class in which it was caught or differs, in words.
    requirement : str
        The requirement that caught it.
    story : tuple of Line
        A run to the violation, or to the first difference; replayed.
    is_shortest : bool
        Whether no run to it is shorter. One to a difference always is.
    loop_start : int or None
        Where the run is endless.
    differs : tuple of str
        For a gap: what the run ends in.
    shown_by : str
        For an equivalent defect: how that was shown.
    n_states : int
        Size of the exploration behind it.
    limit : str or None
        The limit that was hit, where undecided.
    """

    defect: str
    outcome: Outcome
    run_class: str = FAULT_FREE.says
    requirement: str = ""
    story: tuple[Line, ...] = ()
    n_steps: int = 0
    loop_start: int | None = None
    differs: tuple[str, ...] = ()
    shown_by: str = ""
    n_states: int = 0
    limit: str | None = None
    is_shortest: bool = True

    def as_data(self) -> dict[str, Any]:
        """Plain data that `from_data` reads again."""
        return {**asdict(self), "outcome": self.outcome.value}

    @staticmethod
    def from_data(data: Mapping[str, Any]) -> Trial:
        """The trial that `as_data` gave."""
        given = dict(data)
        given["outcome"] = Outcome(given["outcome"])
        given["story"] = tuple(
            Line(**{**line, "changes": tuple(line["changes"]), "decided": tuple(line["decided"])})
            for line in given["story"]
        )
        given["differs"] = tuple(given["differs"])
        return Trial(**given)


@dataclass(frozen=True)
class Stage:
    """A run class, and the requirements that hold of the original in it and may catch defects.

    Attributes
    ----------
    undecided : tuple of str
        Requirements that the original left undecided; while there are any, no gap is certain.
    """

    run_class: RunClass
    catching: tuple[str, ...]
    undecided: tuple[str, ...] = ()


@dataclass(frozen=True)
class Courtroom:
    """What every trial needs.

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

    def look(self, defect: Defect, stage: Stage, times: int = 1) -> Trial:
        """Look at the nearest states only: caught, or not known; ``limit`` None means all seen.

        `times` as many states as in a first look.
        """
        most = times * self.first_look
        near = replace(self.limits, max_states=min(self.limits.max_states or most, most))
        built = self._changed(defect, stage)
        return self._judged(defect, built, self._catching(built, stage), near)

    def judged(self, defect: Defect, stage: Stage) -> Trial:
        """Caught, or undecided with the limit that was hit, or with none if nothing notices.

        What needs observers is asked apart, as where the original is judged.
        """
        built = self._changed(defect, stage)
        groups = asked_apart(self._catching(built, stage), stage.run_class)
        trials = []
        for group in [some for some in groups if some] or [()]:
            trials.append(self._judged(defect, built, group, self.limits))
            if trials[-1].outcome is Outcome.CAUGHT:
                return trials[-1]
        n_states = max(trial.n_states for trial in trials)
        limit = next((trial.limit for trial in trials if trial.limit is not None), None)
        return replace(trials[0], n_states=n_states, limit=limit)

    def _changed(self, defect: Defect, stage: Stage) -> Built:
        return build(defect.applied_to(self.model), stage.run_class)

    def _catching(self, built: Built, stage: Stage) -> list[Requirement]:
        """What may catch; the changed program may leave a range, which the original cannot."""
        return [r for id_, r in built.requirements.items() if self._may_catch(id_, stage)]

    def _judged(
        self, defect: Defect, built: Built, requirements: Sequence[Requirement], limits: Limits
    ) -> Trial:
        questions = ask_together(built.system, requirements)
        asked = [(question, query) for question in questions for query in question.violations]
        system = questions[-1].system if questions else built.system
        explored = self.engine.explore(system, [query for _, query in asked], limits)
        found = [
            (question, answer.witness)
            for (question, _), answer in zip(asked, explored.answers, strict=True)
            if answer.found and answer.witness is not None
        ]
        if found:
            question, witness = min(found, key=lambda pair: len(pair[1]))
            caught = Caught(question, witness, explored.n_states, is_shortest=True)
            return self._caught(defect, built, caught)
        return Trial(
            defect.id,
            Outcome.UNDECIDED,
            built.run_class.says,
            n_states=explored.n_states,
            limit=explored.limit,
        )

    def _may_catch(self, id_: str, stage: Stage) -> bool:
        return id_ in stage.catching or id_ not in self.model.statements

    def _caught(self, defect: Defect, built: Built, caught: Caught) -> Trial:
        # Whether a trap has no way out at all was explored; the judge need not look far again.
        run = replay(built, caught.question, caught.witness, trap_limit=_TRAP_LIMIT)
        trial = Trial(
            defect.id,
            Outcome.CAUGHT,
            built.run_class.says,
            requirement=caught.question.requirement.id,
            n_states=caught.n_states,
            is_shortest=caught.is_shortest,
        )
        return _with_run(trial, built.model, run)

    # The quick way

    @property
    def is_quick(self) -> bool:
        """Whether the original may be kept at all."""
        return self.engine.name in _KEEPING

    def near(self, stage: Stage) -> Near | None:
        """The original kept for the quick way; None where it cannot be kept."""
        if not self.is_quick or stage.run_class.faults:
            return None
        try:
            return Near(self.original(stage), stage.catching, self.limits)
        except (OpenError, DeclinedError):
            return None

    def tried(self, defect: Defect, stage: Stage, near: Near) -> Trial:
        """Decide a defect from what the original reaches; undecided where that takes more."""
        changed = self._changed(defect, stage)
        try:
            found = try_near(near, changed)
        except (OpenError, DeclinedError):
            return Trial(defect.id, Outcome.UNDECIDED, stage.run_class.says)
        if isinstance(found, Caught):
            return self._caught(defect, changed, found)
        lockstep = Lockstep(near.original, changed)
        witness = nearest_difference(near.known, near.original, changed)
        if witness is None:
            return self._compared(defect, changed, lockstep, stage)
        trial = Trial(defect.id, Outcome.UNDECIDED, stage.run_class.says, n_states=found.n_states)
        return self._differing(trial, changed, lockstep, witness, stage)

    # The slow way

    def alike(
        self, defects: Sequence[Defect], stage: Stage, near: Near | None = None
    ) -> list[Trial]:
        """Ask of all `defects` in one exploration whether every move is alike.

        With the original kept, of the states that are kept.

        Returns
        -------
        list of Trial
            Equivalent, or undecided: with the limit that was hit, or with none where some move
            is not alike or where the defect remembers more than the original.
        """
        original = self.original(stage) if near is None else near.original
        unlike = [difference(original, self._changed(defect, stage)) for defect in defects]
        asked = [expr for expr in unlike if expr is not None]
        if near is not None:
            found_at = near.known.first(asked)
            answers: Iterator[bool | None] = iter([entry is not None for entry in found_at])
            n_states, limit = near.known.n_states, None
        else:
            queries = [Reach(expr) for expr in asked]
            explored = self.engine.explore(original.system, queries, self.limits)
            answers = iter([answer.found for answer in explored.answers])
            n_states, limit = explored.n_states, explored.limit
        trials = []
        for defect, expr in zip(defects, unlike, strict=True):
            found = True if expr is None else next(answers)
            trial = Trial(
                defect.id,
                Outcome.UNDECIDED,
                stage.run_class.says,
                n_states=n_states,
                limit=limit if found is None else None,
            )
            if found is False:
                shown_by = "every move alike in every reachable state"
                trial = replace(trial, outcome=Outcome.EQUIVALENT, shown_by=shown_by)
            trials.append(trial)
        return trials

    def compared(self, defect: Defect, stage: Stage) -> Trial:
        """Run a defect that nothing catches in lockstep with the original: equivalent or a gap."""
        changed = self._changed(defect, stage)
        return self._compared(defect, changed, Lockstep(self.original(stage), changed), stage)

    def _compared(self, defect: Defect, changed: Built, lockstep: Lockstep, stage: Stage) -> Trial:
        farthest = self.limits.max_states
        nearer = [most for most in _NEARER if farthest is None or most < farthest]
        for most in (*nearer, farthest):
            limits = replace(self.limits, max_states=most)
            explored = self.engine.explore(lockstep.system, [Reach(lockstep.differs)], limits)
            answer = explored.answers[0]
            if answer.found is not None:
                break
        trial = Trial(
            defect.id,
            Outcome.UNDECIDED,
            stage.run_class.says,
            n_states=explored.n_states,
            limit=explored.limit,
        )
        if answer.found is False:
            shown_by = "no output and no possible move ever differs in lockstep"
            return replace(trial, outcome=Outcome.EQUIVALENT, shown_by=shown_by, limit=None)
        if answer.witness is None:
            return trial
        return self._differing(trial, changed, lockstep, answer.witness, stage)

    def _differing(
        self, trial: Trial, changed: Built, lockstep: Lockstep, witness: Witness, stage: Stage
    ) -> Trial:
        """What a run to the first difference makes of a trial that nothing caught."""
        run, differs = lockstep.replayed(witness)
        trial = _with_run(replace(trial, differs=differs, limit=None), changed.model, run)
        if stage.undecided:
            said = f"undecided of the original: {', '.join(stage.undecided)}"
            return replace(trial, limit=said)
        return replace(trial, outcome=Outcome.GAP)


def _with_run(trial: Trial, model: Model, run: Replayed) -> Trial:
    return replace(
        trial,
        story=tuple(tell_to_the_end(model, run)),
        n_steps=len(run.happenings),
        loop_start=run.loop_start,
    )
