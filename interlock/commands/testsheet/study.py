"""The commissioning sheet of a model: planned by search, decided by an engine, measured."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from interlock.commands.testsheet.goals import (
    Goal,
    Kind,
    Program,
    fault_goals,
    force_of,
    is_injectable,
    lamp_goal,
    lamp_goals,
    move_goals,
    takes_one_scan,
    term_goals,
)
from interlock.commands.testsheet.measure import (
    Measured,
    measure,
    seen_by_flashing,
    without_idle_rows,
)
from interlock.commands.testsheet.planner import Planner, Report
from interlock.commands.testsheet.sheet import Sheet
from interlock.commands.testsheet.simulation import Simulation
from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, and_, const, eq, var
from interlock.kernel.nearest import nearest
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
from interlock.kernel.system import PHASE, System
from interlock.model.build import SCAN, build
from interlock.model.model import Model

IN_PASSING = "only in passing: what shows it is gone before anybody could act"
DEPENDS = "not shown by any row; what it needs depends on the moment, or never comes to rest"
# From so many situations it is looked for what no row shows, and for lamps that flash.
MOST_SITUATIONS, FEW_SITUATIONS = 1_500, 200
Together = Mapping[tuple[Goal, ...], Sequence[tuple[int, ...]]]
NOT_FOUND = f"not shown in {MOST_SITUATIONS:,} situations, which are not all"


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
    built = build(model, with_all_memory=True)
    program = Program.of(built)
    terms, faults = term_goals(program), fault_goals(built, program)
    moves, lamps = move_goals(built), lamp_goals(program)
    conditions = _conditions(program, {**terms, **faults, **lamps}, moves)
    exact = {goal for goal in conditions if takes_one_scan(goal, built, program)}
    by_signal = _by_signal(goal for goal in terms if goal in exact)
    beside = [Values(tuple(conditions[goal] for goal in goals)) for goals in by_signal.values()]
    explored = _explored(built.system, conditions, beside, engine, limits, progress)
    answers = dict(zip(conditions, explored.answers, strict=False))
    wanted = [goal for goal, answer in answers.items() if answer.found]
    doubtful = [g for g, a in answers.items() if a.found is False and g not in exact]
    simulation = Simulation(built, program)
    planner = _planned(
        Planner(simulation, wanted, doubtful, _reporting(progress, explored)), answers
    )
    ways, is_all = planner.everywhere(
        MOST_SITUATIONS if doubtful or planner.todo else FEW_SITUATIONS
    )
    _by_runs(planner, {goal: way for goal, way in ways.items() if goal in planner.wanted})
    shown = measure(model, planner.rows, list(conditions), built.system.index.keys())
    rows = seen_by_flashing(shown)
    never = {g.id for g, a in answers.items() if a.found is False and (is_all or g in exact)}
    searched = _Searched(never, "" if is_all else DEPENDS if planner.depends else NOT_FOUND)
    sheet = _sheet(model, program, answers, without_idle_rows(rows), searched, explored)
    if explored.limit is not None:
        return sheet
    told = zip(by_signal.values(), explored.answers[len(conditions) :], strict=True)
    together: dict[tuple[Goal, ...], Sequence[tuple[int, ...]]] = {}
    together |= {goals: answer.values for goals, answer in told}
    if is_all:
        everything = _by_signal(terms).values()
        together = {goals: planner.actions.shown_together(goals) for goals in everything}
    return replace(sheet, n_least_rows=least_rows(sheet, together))


def _explored(
    system: System,
    conditions: Mapping[Goal, Expr],
    beside: Sequence[Query],
    engine: Engine,
    limits: Limits,
    progress: ProgressSink | None,
) -> Exploration:
    """A shortest run to each of `conditions`, then the answers to what is asked `beside`.

    Lamps decide no move, so runs to what is no lamp are looked for without them.
    """
    lamps = {goal: c for goal, c in conditions.items() if goal.kind is Kind.LAMP}
    others = {goal: c for goal, c in conditions.items() if goal.kind is not Kind.LAMP}
    if system.narrowed(list(others.values())).variables == system.variables:
        queries = [*(Reach(condition) for condition in conditions.values()), *beside]
        return engine.explore(system, queries, limits, progress)
    first = [*(Reach(condition) for condition in lamps.values()), *beside]
    explored = engine.explore(system, first, limits, progress)
    runs = nearest(engine, system, list(others.values()), limits, progress)
    answers = dict(zip(lamps, explored.answers, strict=False))
    answers |= zip(others, runs.answers, strict=True)
    told = [answers[goal] for goal in conditions]
    return replace(
        explored,
        answers=(*told, *explored.answers[len(lamps) :]),
        limit=explored.limit or runs.limit,
    )


def _planned(planner: Planner, answers: Mapping[Goal, Answer]) -> Planner:
    """The better of two plans; the second knows what the first saw."""
    runs = {
        goal.id: [step.move for step in answer.witness.steps if step.move != SCAN]
        for goal, answer in answers.items()
        if answer.witness is not None
    }
    planner.walk()
    _by_runs(planner, runs)
    second = planner.again()
    second.walk()
    _by_runs(second, runs)
    return min(planner, second, key=lambda p: (len(p.todo), len(p.rows), p is second))


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


def _by_runs(planner: Planner, runs: Mapping[str, Sequence[str]]) -> None:
    """Begin anew on the way to what the walk did not come to, the farthest first."""
    given_up: set[str] = set()
    while left := sorted(
        (planner.wanted & runs.keys()) - given_up, key=lambda id_: (-len(runs[id_]), id_)
    ):
        target = left[0]
        if planner.begin_anew(runs[target]):
            planner.show_here()
            planner.walk()
        if target in planner.wanted:
            given_up.add(target)


@dataclass(frozen=True)
class _Searched:
    """What the search over situations says of the goals that no row shows.

    Attributes
    ----------
    never : set of str
        Ids of those that nothing shows.
    why_not : str
        Why not everything was looked at; empty where it was.
    """

    never: set[str]
    why_not: str


def _sheet(
    model: Model,
    program: Program,
    answers: Mapping[Goal, Answer],
    measured: Sequence[Measured],
    searched: _Searched,
    explored: Exploration,
) -> Sheet:
    covered = {goal for found in measured for goal in found.shown}
    impossible = searched.never - covered
    left_open = {
        goal.id: f"undecided: {explored.limit}"
        if answer.found is None
        else searched.why_not or IN_PASSING
        for goal, answer in answers.items()
        if goal.id not in covered | impossible
    }
    flashing = [lamp_goal(lamp, "flashing") for lamp in program.lamps]
    lengths = [
        sum(step.move != SCAN for step in answer.witness.steps)
        for goal, answer in answers.items()
        if answer.witness is not None
    ]
    return Sheet(
        model=model,
        rows=tuple(found.row for found in measured),
        expected=tuple(found.expected for found in measured),
        goals=(*answers, *(goal for goal in flashing if goal.id in covered)),
        impossible=frozenset(impossible),
        open=left_open,
        not_injectable=tuple(i for i, f in model.faults.items() if not is_injectable(f)),
        left_out=program.not_boolean(),
        n_states=explored.n_states,
        n_moves_one_by_one=sum(lengths),
        n_least_moves=sum(goal.kind is Kind.MOVE and goal.id in covered for goal in answers),
    )


def least_rows(sheet: Sheet, together: Together) -> int:
    """How many actions at the terminals what is covered needs at least, in reachable states.

    An action holds one thing, so each signal needs one. Of the terms of a signal that are asked
    about, those of which no two are ever decided in one state need one action each; a fault of a
    single signal needs its own direction; any other fault needs an action of its own.

    Parameters
    ----------
    sheet : Sheet
    together : mapping of tuple of Goal to sequence of tuple of int
        For terms of one signal, which of them are decided together in some state.
    """
    needed = {g.other: 1 for g in sheet.goals if g.kind is Kind.TERM and g.id in sheet.covered}
    for goals, combinations in together.items():
        covered = [n for n, goal in enumerate(goals) if goal.id in sheet.covered]
        if covered:
            needed[goals[0].other] = _apart(covered, combinations)
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
