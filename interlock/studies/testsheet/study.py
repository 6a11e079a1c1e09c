"""The commissioning sheet of a model: planned by search, decided by an engine, measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, and_, const, eq, var
from interlock.kernel.query import (
    Answer,
    Engine,
    Exploration,
    Limits,
    Progress,
    ProgressSink,
    Reach,
)
from interlock.kernel.system import PHASE
from interlock.model.build import SCAN, Built, build
from interlock.model.model import Model
from interlock.studies.testsheet.goals import (
    Goal,
    Kind,
    Program,
    fault_goals,
    force_of,
    is_injectable,
    lamp_goals,
    move_goals,
    term_goals,
)
from interlock.studies.testsheet.measure import Measured, measure, without_idle_rows
from interlock.studies.testsheet.planner import Planner
from interlock.studies.testsheet.rig import Rig
from interlock.studies.testsheet.sheet import Sheet

IN_PASSING = "only in passing: what shows it is gone before anybody could act"


def make_sheet(
    model: Model,
    engine: Engine,
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> Sheet:
    """Make the commissioning sheet of `model`.

    Parameters
    ----------
    model : Model
    engine : Engine
        Decides in one exploration which goals can be shown at all.
    limits : Limits
        What they cut short is left open, never called impossible.
    progress : callable, optional

    Raises
    ------
    InternalError
        Where the independent machine refuses what was planned.
    """
    built = build(model)
    program = Program.of(built)
    terms, faults = term_goals(program), fault_goals(built, program)
    moves, lamps = move_goals(built), lamp_goals(program)
    conditions = _conditions(program, {**terms, **faults, **lamps}, moves)
    queries = [Reach(condition) for condition in conditions.values()]
    explored = engine.explore(built.system, queries, limits, progress)
    answers = dict(zip(conditions, explored.answers, strict=True))
    shown = {goal for goal, answer in answers.items() if answer.found}

    def possible(goals: Mapping[Goal, Expr]) -> dict[Goal, Expr]:
        return {goal: condition for goal, condition in goals.items() if goal in shown}

    rig = Rig(built, program)
    planner = Planner(
        rig,
        possible(terms),
        possible(faults),
        possible(moves),
        possible(lamps),
        _reporting(progress, explored),
    )
    planner.walk()
    _from_witnesses(planner, answers)
    measured = without_idle_rows(measure(model, planner.rows, list(conditions)))
    return _sheet(built, answers, measured, explored)


def _conditions(
    program: Program, after_scans: Mapping[Goal, Expr], moves: Mapping[Goal, Expr]
) -> dict[Goal, Expr]:
    """Every goal's condition over the state alone; but for moves it is judged after scans."""
    scanned = eq(var(PHASE), const(0))
    goals = list(after_scans)
    over_state = ex.substitute([after_scans[goal] for goal in goals], program.signals)
    found = {g: and_(scanned, condition) for g, condition in zip(goals, over_state, strict=True)}
    return {**found, **moves}


def _reporting(progress: ProgressSink | None, explored: Exploration):  # type: ignore[no-untyped-def]
    if progress is None:
        return None

    def report(n_shown: int, n_goals: int) -> None:
        stage = f"planning: {n_shown} of {n_goals} shown"
        progress(Progress(stage, explored.n_states, explored.depth or 0, explored.seconds))

    return report


def _from_witnesses(planner: Planner, answers: Mapping[Goal, Answer]) -> None:
    """Begin anew on the way to what the walk did not come to, the farthest first."""
    runs = {
        goal.id: [step.move for step in answer.witness.steps]
        for goal, answer in answers.items()
        if answer.witness is not None
    }
    given_up: set[str] = set()
    while left := sorted(planner.todo - given_up, key=lambda id_: (-len(runs[id_]), id_)):
        target = left[0]
        moves = [move for move in runs[target] if move != SCAN]
        if target.startswith(f"{Kind.MOVE.value} ") or planner.begin_anew(moves):
            planner.begin_anew(moves)
            planner.walk()
        if target in planner.todo:
            given_up.add(target)


def _sheet(
    built: Built,
    answers: Mapping[Goal, Answer],
    measured: Sequence[Measured],
    explored: Exploration,
) -> Sheet:
    model = built.model
    covered = {goal for found in measured for goal in found.shown}
    impossible = {goal.id for goal, answer in answers.items() if answer.found is False}
    left_open = {
        goal.id: f"undecided: {explored.limit}" if answer.found is None else IN_PASSING
        for goal, answer in answers.items()
        if goal.id not in covered | impossible
    }
    lengths = [
        sum(step.move != SCAN for step in answer.witness.steps)
        for goal, answer in answers.items()
        if answer.witness is not None
    ]
    sheet = Sheet(
        model=model,
        rows=tuple(found.row for found in measured),
        expected=tuple(found.expected for found in measured),
        goals=tuple(answers),
        impossible=frozenset(impossible),
        open=left_open,
        not_injectable=tuple(i for i, f in model.faults.items() if not is_injectable(f)),
        n_states=explored.n_states,
        n_moves_one_by_one=sum(lengths),
        n_least_moves=sum(id_.startswith("move ") for id_ in covered),
    )
    return replace(sheet, n_least_rows=_least_rows(sheet))


def _least_rows(sheet: Sheet) -> int:
    """How many different actions at the terminals what is covered needs at least.

    A row holds one thing. Each signal needs one, in either direction; a fault of a single signal
    needs its own direction; any other fault needs a row of its own.
    """
    directions: dict[str, set[int]] = {}
    others = set()
    for goal in sheet.goals:
        if goal.id not in sheet.covered:
            continue
        if goal.kind is Kind.TERM:
            directions.setdefault(goal.other, set())
        elif goal.kind is Kind.FAULT:
            force = force_of(sheet.model.faults[goal.subject])
            if force.single is None:
                others.add(force)
            else:
                directions.setdefault(force.single, set()).add(force.signals[0][1])
    return len(others) + sum(max(1, len(found)) for found in directions.values())
