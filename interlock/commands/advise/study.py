"""For each output the weakest permissive that keeps every plain 'never' and 'always'."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from interlock.base.errors import InternalError, Place
from interlock.commands.advise.freeing import (
    ON,
    Freed,
    Line,
    NoLineError,
    decided,
    freed,
    line_of,
    outputs_worth_advice,
    with_value,
)
from interlock.commands.advise.others import Others, judge_others
from interlock.commands.advise.permissive import permissive_of
from interlock.engines import permitter
from interlock.independent_judge.judge import Replayed
from interlock.independent_judge.player import Player
from interlock.independent_judge.story import Line as Told
from interlock.independent_judge.story import tell_to_the_end
from interlock.judgement.engines import AUTOMATIC, FEW_STATES, by_diagrams
from interlock.kernel.asking import ask
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr, and_, not_
from interlock.kernel.permitted import Permit, Permitted
from interlock.kernel.query import Engine, Limits, ProgressSink, Reach
from interlock.kernel.system import Role, System
from interlock.kernel.witness import Witness
from interlock.model.build import FAULT_FREE, SCAN, Built, RunClass, build
from interlock.model.model import Model
from interlock.st import typed as ty
from interlock.st.evaluate import as_written
from interlock.st.lower import lower_expression
from interlock.st.write import write_expression


@dataclass(frozen=True)
class Meeting:
    """A shortest run to a state in which program and permissive decide differently."""

    story: tuple[Told, ...]
    n_steps: int


@dataclass(frozen=True)
class Advice:
    """What is advised for one output.

    Attributes
    ----------
    output : str
    line : Line or None
        The line that decides it now; None where there is not one.
    permissive : typed.Expression or None
        The weakest permissive; None where nothing is advised, for `reason`.
    kept : tuple of str
        The requirements that it keeps.
    lost : tuple of str
        Those that are violated with this output off for ever, so that it cannot keep them.
    n_states, n_safe, n_unsafe : int
        States that are reached under the best use of the output, and those of them with a scan to
        come at once, where on is safe and unsafe.
    n_sights, n_alike : int
        What the line can see: combinations that occur, and those of safe and unsafe states alike.
    alike : (mapping, mapping) or None
        Two plant states that the line cannot tell apart: on is safe in the first only.
    n_withheld : int
        Safe states in which it stays off because they look like unsafe ones.
    narrower : typed.Expression or None
        The weakest permissive over what the line reads now, where reading more allows more.
    comes_on : bool
        Some scan switches the output on with the permissive inserted.
    permits_more, blocks_more : Meeting or None
        Where the program has it on against the permissive; where it has it off without need.
    others : Others
        What becomes of the requirements that it is not made for.
    reason : str
    """

    output: str
    line: Line | None
    permissive: ty.Expression | None = None
    kept: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()
    n_states: int = 0
    n_safe: int = 0
    n_unsafe: int = 0
    n_sights: int = 0
    n_alike: int = 0
    alike: tuple[dict[str, str], dict[str, str]] | None = None
    n_withheld: int = 0
    narrower: ty.Expression | None = None
    comes_on: bool = False
    permits_more: Meeting | None = None
    blocks_more: Meeting | None = None
    others: Others = field(default_factory=Others)
    reason: str = ""
    limit: str | None = None

    @property
    def is_decided(self) -> bool:
        """Whether a permissive is advised, and keeps every requirement there is."""
        others = self.others
        return not (self.permissive is None or self.lost or others.not_kept or others.undecided)

    @property
    def text(self) -> str:
        """The permissive as Structured Text."""
        return "" if self.permissive is None else write_expression(as_written(self.permissive))

    def inserted(self, model: Model) -> Model:
        """`model` with the permissive in place of what the line says.

        Raises
        ------
        ValueError
            Where nothing is advised.
        """
        if self.line is None or self.permissive is None:
            raise ValueError(f"nothing is advised for {self.output}: {self.reason}")
        return with_value(model, self.line, self.permissive)


@dataclass(frozen=True)
class Advices:
    """What is advised for the outputs of a model."""

    model: Model
    run_class: RunClass
    advices: tuple[Advice, ...]


def advise(
    model: Model,
    engine: Engine,
    outputs: Sequence[str] = (),
    run_class: RunClass = FAULT_FREE,
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> Advices:
    """Advise the weakest permissive for outputs, each with the rest of the program as it is.

    Parameters
    ----------
    model : Model
    engine : Engine
        Finds the runs, and judges the model with each permissive inserted.
    outputs : sequence of str
        Outputs, or BOOL variables of the program that several outputs follow. Where empty, all
        outputs worth advice: that gate a move, or that a 'never' or 'always' speaks of.
    run_class : RunClass
    limits : Limits
        For each exploration.
    progress : callable, optional

    Raises
    ------
    InternalError
        Where a permissive, inserted, does not keep what it must keep: a defect of interlock.
    """
    names = tuple(outputs) or outputs_worth_advice(model, run_class)
    adviser = _Adviser(model, engine, run_class, limits, progress)
    return Advices(model, run_class, tuple(adviser.advice(name) for name in names))


class _Adviser:
    def __init__(
        self,
        model: Model,
        engine: Engine,
        run_class: RunClass,
        limits: Limits,
        progress: ProgressSink | None,
    ) -> None:
        self.model = model
        self.engine = engine
        self.run_class = run_class
        self.limits = limits
        self.progress = progress
        self.built = build(model, run_class)
        # The program as it is does what it does with any of its outputs at will.
        self.permitting = permitter().permitting(self.built.system, limits, progress)
        # Left to itself an engine would look again at each system how many states there are.
        self.is_large = engine.name == AUTOMATIC and self.permitting.n_states > FEW_STATES

    def advice(self, output: str) -> Advice:
        try:
            line = line_of(self.model, output)
            now = decided(self.built, output)
        except NoLineError as reason:
            return Advice(output, None, reason=str(reason))
        free = freed(self.model, line, self.run_class)
        permits = self.permitting.permit(free.system, ON, free.bad, self.limits, self.progress)
        if permits.limit is not None:
            return Advice(output, line, reason="a limit was hit", limit=permits.limit)
        ids = [r.id for r in free.requirements]
        kept = tuple(id_ for id_, is_kept in zip(ids, permits.kept, strict=True) if is_kept)
        lost = tuple(id_ for id_ in ids if id_ not in kept)
        found = self._look(permits, free, line.statement.value.place)
        if found is None:
            return Advice(output, line, reason="a limit was hit", limit=permits.limit)
        permit, permissive, narrower = found
        inserted = self._inserted(line, permissive)
        limit = self._judge(permits, output, inserted, kept)
        if narrower is not None:
            narrowed = self._inserted(line, narrower)
            if self._judge(permits, output, narrowed, kept) is not None:
                narrower = None
        if limit is not None:
            said = "a limit was hit before the permissive was judged"
            return Advice(output, line, reason=said, limit=limit)
        exprs = {s.name.casefold(): s.expr for s in free.seen}
        advised = lower_expression(permissive, exprs)
        met = self._meetings(and_(now, not_(advised)), and_(advised, not_(now)))
        if isinstance(met, str):
            said = "a limit was hit before the program was compared with the permissive"
            return Advice(output, line, reason=said, limit=met)
        more, less = met
        comes_on = permits.is_ever_made(advised)
        if comes_on is None:
            said = "a limit was hit before it was known whether it comes on"
            return Advice(output, line, reason=said, limit=permits.limit)
        return Advice(
            output,
            line,
            permissive,
            kept,
            lost,
            permits.n_states,
            permits.n_safe,
            permits.n_unsafe,
            permit.n_sights,
            permit.n_alike,
            None if permit.alike is None else _told_apart(free.system, permit.alike),
            permit.n_withheld,
            narrower,
            comes_on,
            more,
            less,
            self._others(free, advised, inserted),
        )

    def _inserted(self, line: Line, permissive: ty.Expression) -> Built:
        """The model with a permissive as the line, built anew from the changed program."""
        return build(with_value(self.model, line, permissive), self.run_class)

    def _others(self, free: Freed, advised: Expr, inserted: Built) -> Others:
        engine = by_diagrams(self.built.system) if self.is_large else self.engine
        return judge_others(engine, free, advised, inserted, self.limits)

    def _look(
        self, permits: Permitted, free: Freed, place: Place
    ) -> tuple[Permit, ty.Expression, ty.Expression | None] | None:
        """Over what the line reads now; over everything where that allows more."""
        used = [s for s in free.seen if s.is_used]
        narrow = permits.seen_through([s.expr for s in used])
        if narrow is None:
            return None
        narrower = permissive_of(narrow.cubes, [s.name for s in used], place)
        if not narrow.n_withheld:
            return narrow, narrower, None
        wide = permits.seen_through([s.expr for s in free.seen])
        if wide is None:
            return None
        if wide.n_withheld == narrow.n_withheld:
            return narrow, narrower, None
        return wide, permissive_of(wide.cubes, [s.name for s in free.seen], place), narrower

    def _judge(
        self, permits: Permitted, output: str, built: Built, kept: Sequence[str]
    ) -> str | None:
        """Judge the model with a permissive inserted; the limit, where one was hit.

        Where the states in which the permissive was found do not show by themselves that it keeps
        what it must, they are explored anew.
        """
        if permits.keeps(built.system):
            return None
        questions = [ask(built.system, built.requirements[id_]) for id_ in kept]
        queries = [query for question in questions for query in question.violations]
        explored = self.engine.explore(built.system, queries, self.limits)
        owners = [question.requirement.id for question in questions for _ in question.violations]
        for id_, answer in zip(owners, explored.answers, strict=True):
            if answer.found:
                raise InternalError(f"the permissive advised for {output} does not keep {id_}")
        return explored.limit

    def _meetings(self, *targets: Expr) -> list[Meeting | None] | str:
        """A run to each target where a scan may be made, None where there is none.

        The limit, where one was hit.
        """
        may_scan = self.built.system.move(SCAN).guard
        targets = tuple(and_(target, may_scan) for target in targets)
        if self.is_large:
            runs = self.permitting.nearest(targets, self.limits)
            if isinstance(runs, str):
                return runs
            return [None if run is None else _meeting(self.built, run) for run in runs]
        queries = [Reach(target) for target in targets]
        explored = self.engine.explore(self.built.system, queries, self.limits)
        if explored.limit is not None and any(a.found is None for a in explored.answers):
            return explored.limit
        return [
            None if answer.witness is None else _meeting(self.built, answer.witness)
            for answer in explored.answers
        ]


def _meeting(built: Built, witness: Witness) -> Meeting:
    """The run, and the scan that decides."""
    player = Player(built.model)
    happenings = [player.play(step.move) for step in witness.steps]
    happenings.append(player.play(SCAN))
    lines = tell_to_the_end(built.model, Replayed(tuple(happenings), None))
    return Meeting(tuple(lines), len(happenings))


def _told_apart(
    system: System, alike: tuple[State, State]
) -> tuple[dict[str, str], dict[str, str]]:
    """The plant of two states, as far as it differs; of all of it where only memory differs."""
    roles = (Role.PLANT, Role.CONTROL, Role.FAULT)
    shown: tuple[dict[str, str], dict[str, str]] = ({}, {})
    for number, variable in enumerate(system.variables):
        if variable.role in roles and alike[0][number] != alike[1][number]:
            for side in (0, 1):
                shown[side][variable.name] = variable.domain.show(alike[side][number])
    return shown
