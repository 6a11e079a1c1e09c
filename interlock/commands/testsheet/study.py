"""The commissioning sheet of a model: planned by search, decided by an engine, measured."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from interlock.commands.testsheet.goals import (
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
from interlock.commands.testsheet.measure import Measured, measure, without_idle_rows
from interlock.commands.testsheet.planner import Planner, Report
from interlock.commands.testsheet.sheet import Sheet
from interlock.commands.testsheet.simulation import Simulation
from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, and_, const, eq, var
from interlock.kernel.query import (
    Answer,
    Engine,
    Exploration,
    Limits,
    Progress,
    ProgressSink,
    Query,
    Reach,
    Values,
)
from interlock.kernel.system import PHASE
from interlock.model.build import SCAN, build
from interlock.model.model import Model

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
    queries: list[Query] = [Reach(condition) for condition in conditions.values()]
    decided = _by_signal(terms)
    queries += [Values(tuple(conditions[goal] for goal in goals)) for goals in decided.values()]
    explored = engine.explore(built.system, queries, limits, progress)
    answers = dict(zip(conditions, explored.answers, strict=False))
    together = dict(zip(decided.values(), explored.answers[len(conditions) :], strict=True))
    shown = {goal for goal, answer in answers.items() if answer.found}

    def possible(goals: Mapping[Goal, Expr]) -> dict[Goal, Expr]:
        return {goal: condition for goal, condition in goals.items() if goal in shown}

    simulation = Simulation(built, program)
    planner = Planner(
        simulation,
        possible(terms),
        possible(faults),
        possible(moves),
        possible(lamps),
        _reporting(progress, explored),
    )
    planner.walk()
    _from_witnesses(planner, answers)
    second = planner.again()
    second.walk()
    _from_witnesses(second, answers)
    planner = min(planner, second, key=lambda p: (len(p.todo), len(p.rows), p is second))
    measured = without_idle_rows(measure(model, planner.rows, list(conditions)))
    sheet = _sheet(model, program, answers, measured, explored)
    if explored.limit is not None:
        return sheet
    return replace(sheet, n_least_rows=least_rows(sheet, together))


def _by_signal(terms: Iterable[Goal]) -> dict[str, tuple[Goal, ...]]:
    """The terms of each signal; one action at its terminal may show many of them."""
    found: dict[str, tuple[Goal, ...]] = {}
    for goal in terms:
        found[goal.other] = (*found.get(goal.other, ()), goal)
    return found


def _conditions(
    program: Program, after_scans: Mapping[Goal, Expr], moves: Mapping[Goal, Expr]
) -> dict[Goal, Expr]:
    """Every goal's condition over the state alone; but for moves it is judged after scans."""
    scanned = eq(var(PHASE), const(0))
    goals = list(after_scans)
    over_state = ex.substitute([after_scans[goal] for goal in goals], program.signals)
    found = {g: and_(scanned, condition) for g, condition in zip(goals, over_state, strict=True)}
    return {**found, **moves}


def _reporting(progress: ProgressSink | None, explored: Exploration) -> Report | None:
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
        if planner.begin_anew(moves):
            planner.walk()
        if target in planner.todo:
            given_up.add(target)


def _sheet(
    model: Model,
    program: Program,
    answers: Mapping[Goal, Answer],
    measured: Sequence[Measured],
    explored: Exploration,
) -> Sheet:
    covered = {goal for found in measured for goal in found.shown}
    impossible = {goal.id for goal, answer in answers.items() if answer.found is False}
    impossible -= covered  # with a hand at the terminals more than the reachable can be seen
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
    return Sheet(
        model=model,
        rows=tuple(found.row for found in measured),
        expected=tuple(found.expected for found in measured),
        goals=tuple(answers),
        impossible=frozenset(impossible),
        open=left_open,
        not_injectable=tuple(i for i, f in model.faults.items() if not is_injectable(f)),
        left_out=program.not_boolean(),
        n_states=explored.n_states,
        n_moves_one_by_one=sum(lengths),
        n_least_moves=sum(id_.startswith("move ") for id_ in covered),
    )


def least_rows(sheet: Sheet, together: Mapping[tuple[Goal, ...], Answer]) -> int:
    """How many actions at the terminals what is covered needs at least, in reachable states.

    An action holds one thing. Of a signal's terms, those of which no two are ever decided in one
    state need one action each; a fault of a single signal needs its own direction; any other fault
    needs an action of its own.

    Parameters
    ----------
    sheet : Sheet
    together : mapping of tuple of Goal to Answer
        For the terms of each signal, which of them are decided together in some state.
    """
    needed: dict[str, int] = {}
    for goals, answer in together.items():
        covered = [n for n, goal in enumerate(goals) if goal.id in sheet.covered]
        if covered:
            needed[goals[0].other] = _apart(covered, answer.values)
    directions: dict[str, set[int]] = {}
    others = set()
    for goal in sheet.goals:
        if goal.kind is Kind.FAULT and goal.id in sheet.covered:
            force = force_of(sheet.model.faults[goal.subject])
            if force.single is None:
                others.add(force)
            else:
                directions.setdefault(force.single, set()).add(force.signals[0][1])
    for signal, found in directions.items():
        needed[signal] = max(needed.get(signal, 0), len(found))
    return len(others) + sum(needed.values())


def _apart(goals: Sequence[int], combinations: Sequence[tuple[int, ...]]) -> int:
    """How many of `goals` can be found of which no two stand in one combination; greedily."""
    rare = sorted(goals, key=lambda n: (sum(c[n] for c in combinations), n))
    chosen: list[int] = []
    for goal in rare:
        if not any(c[goal] and c[other] for c in combinations for other in chosen):
            chosen.append(goal)
    return len(chosen)
