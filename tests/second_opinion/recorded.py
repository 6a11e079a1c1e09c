"""Records of random runs, and whether a model explains them, by listing every state."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from interlock.commands.replay.columns import Mapped
from interlock.commands.replay.study import MOST_STATES, explain
from interlock.model.build import RunClass
from interlock.model.model import Model
from interlock.st.types import label_of
from tests.second_opinion.timed_world import world_of
from tests.second_opinion.world import Class, Kind, State, World

N_ROWS = 12
N_CHANGED = 3

# The labels of a sample, None where nothing was recorded.
Row = tuple[str | None, ...]


@dataclass(frozen=True)
class Recorder:
    """What is recorded of a model, and how.

    Attributes
    ----------
    columns : tuple of str
        Machines, outputs, ``in:`` inputs and ``fault:`` faults.
    n_moves : int
        The most of what is no scan between two samples.
    after_scan : bool
        Samples are taken behind scans only.
    """

    model: Model
    world: World
    columns: tuple[str, ...]
    n_moves: int
    after_scan: bool

    def sample(self, state: State) -> tuple[str, ...]:
        """What a state shows in each column."""
        truth = self.world.truth(state)
        signals = self.world.signals(state, truth)
        types = {v.name: v.type for v in self.model.program.variables}
        shown = {n: m.states[truth[n]] for n, m in self.model.machines.items()}
        shown |= {n: label_of(types[n], truth[n]) for n in self.model.outputs}
        shown |= {f"in:{n}": label_of(types[n], value) for n, value in signals.items()}
        for fault in self.model.faults:
            shown[f"fault:{fault}"] = "TRUE" if truth[fault] else "FALSE"
        return tuple(shown[name] for name in self.columns)

    def is_sampled(self, state: State) -> bool:
        """Whether a sample may be taken in `state`."""
        return not self.after_scan or state.moves == 0

    def near(self, states: Iterable[State]) -> set[State]:
        """What can be reached with so many moves; scans are free."""
        found = reached = set(states)
        for n_left in range(self.n_moves, -1, -1):
            reached = self._scanned(reached)
            found = found | reached
            if n_left:
                reached = {
                    after for s in reached for kind, after in self._after(s) if kind == "move"
                }
        return found

    def later(self, state: State) -> list[State]:
        """The states that one unit of time leads to."""
        return [after for kind, after in self._after(state) if kind == "tick"]

    def within(self, used: dict[State, int], n_units: int | None) -> set[State]:
        """What just so many units lead to, or any number; `used` has the moves made so far."""
        while True:
            self._moved(used, is_time_free=n_units is None)
            if not n_units:
                return set(used)
            n_units -= 1
            after: dict[State, int] = {}
            for state, n_moves in used.items():
                for later in self.later(state):
                    after[later] = min(n_moves, after.get(later, n_moves))
            used = after

    def _moved(self, used: dict[State, int], is_time_free: bool) -> None:
        """Add all that scans, and as many moves as are left, lead to."""
        todo = list(used)
        while todo:
            state = todo.pop()
            for kind, after in self._after(state):
                n_moves = used[state] + (kind == "move")
                if kind == "tick" and not is_time_free:
                    continue
                if n_moves <= self.n_moves and n_moves < used.get(after, self.n_moves + 1):
                    used[after] = n_moves
                    todo.append(after)

    def _scanned(self, states: set[State]) -> set[State]:
        found, todo = set(states), list(states)
        while todo:
            for kind, after in self._after(todo.pop()):
                if kind == "scan" and after not in found:
                    found.add(after)
                    todo.append(after)
        return found

    def _after(self, state: State) -> Iterator[tuple[str, State]]:
        for act, after in self.world.successors(state, self.world.truth(state)):
            kinds = {Kind.SCAN: "scan", Kind.LATE: "scan", Kind.TICK: "tick"}
            yield kinds.get(act.kind, "move"), after

    def first_unexplained(self, rows: Sequence[Row]) -> int | None:
        """The first row that no run gives, counted from 0; None where there is none."""
        possible = {self.world.first}
        for number, row in enumerate(rows):
            possible = {
                state
                for state in self.near(possible)
                if self.is_sampled(state) and _fits(row, self.sample(state))
            }
            if not possible:
                return number
        return None

    def record(self, by: random.Random) -> list[Row]:
        """The samples of a random run, with holes."""
        state, rows = self.world.first, []
        while len(rows) < N_ROWS:
            state = by.choice(sorted(filter(self.is_sampled, self.near({state}))))
            rows.append(tuple(v if by.random() < 0.85 else None for v in self.sample(state)))
        return rows


def _fits(row: Row, sample: tuple[str, ...]) -> bool:
    return all(said is None or said == shown for said, shown in zip(row, sample, strict=True))


def replayed(
    model: Model, run_class: Class, folder: Path, counts: Counter[str], seed: int
) -> Iterator[str]:
    """What replay says of records of `model` that is not so, in words."""
    by = random.Random(seed)
    recorder = _recorder(model, World(model, run_class), by)
    rows = recorder.record(by)
    counts["models"] += 1
    yield from _compared("a run", recorder, run_class, rows, folder, counts, seed)
    for _ in range(N_CHANGED):
        changed = _changed(recorder, rows, by)
        yield from _compared("changed", recorder, run_class, changed, folder, counts, seed)


def _recorder(model: Model, world: World, by: random.Random) -> Recorder:
    known = [*model.machines, *model.outputs]
    known += [f"in:{v.name}" for v in model.program.inputs]
    known += [f"fault:{fault}" for fault in model.faults]
    columns = [name for name in known if by.random() < 0.6] or known[:1]
    return Recorder(model, world, tuple(columns), by.choice([0, 1, 1, 2]), by.random() < 0.3)


def _changed(recorder: Recorder, rows: list[Row], by: random.Random) -> list[Row]:
    """The rows with one value that the same column has elsewhere, or may have."""
    number, column = by.randrange(len(rows)), by.randrange(len(recorder.columns))
    name = recorder.columns[column]
    states = recorder.model.machines[name].states if name in recorder.model.machines else ()
    known = {row[column] for row in rows} | set(states)
    if states == () and not any(value and value not in ("TRUE", "FALSE") for value in known):
        known |= {"TRUE", "FALSE"}
    others = sorted(value for value in known if value is not None and value != rows[number][column])
    if not others:
        return rows
    row = [*rows[number]]
    row[column] = by.choice(others)
    return [*rows[:number], tuple(row), *rows[number + 1 :]]


def _compared(
    what: str,
    recorder: Recorder,
    run_class: Class,
    rows: list[Row],
    folder: Path,
    counts: Counter[str],
    seed: int,
) -> Iterator[str]:
    wanted = recorder.first_unexplained(rows)
    file = folder / "log.csv"
    lines = [recorder.columns, *([value or "" for value in row] for row in rows)]
    # A row with nothing in it would be no row at all.
    text = "".join(
        ",".join(["t", *line]) + "\n" if n == 0 else f"{n},{','.join(line)}\n"
        for n, line in enumerate(lines)
    )
    file.write_text(text, encoding="utf-8")
    found = explain(
        recorder.model,
        file,
        Mapped(time="t", after_scan=recorder.after_scan),
        RunClass(run_class.faults, run_class.at_most, run_class.human),
        recorder.n_moves,
        # In one of ten the states are followed as sets.
        most_states=1 if seed % 10 == 0 else MOST_STATES,
    )
    counts[f"{what}, {'explained' if wanted is None else 'not explained'}"] += 1
    given = None if found.deviation is None else found.n_rows
    if found.limit is not None or given != wanted:
        yield f"{what}: replay says row {given} ({found.limit}), by listing it is {wanted}: {text}"


# Records of models with time


def replayed_in_time(
    model: Model, run_class: Class, folder: Path, counts: Counter[str], seed: int
) -> Iterator[str]:
    """What replay says of records with times of a model with time that is not so, in words."""
    assert model.timing is not None
    by = random.Random(seed)
    recorder = _recorder(model, world_of(model, run_class), by)
    rows, times = _timed_record(recorder, by)
    counts["models"] += 1
    for what in ("a run", "other times", "other times", "changed"):
        given, at = rows, times
        if what == "other times":
            at = [0.0, *sorted(by.choice([t, t * by.choice([0.3, 0.7, 1.6])]) for t in times[1:])]
        if what == "changed":
            given = _changed(recorder, rows, by)
        wanted = _first_unexplained_in_time(recorder, given, at, model.timing.unit_ms)
        file = _written(recorder, given, at, folder)
        kept = RunClass(run_class.faults, run_class.at_most, run_class.human)
        mapped = Mapped(after_scan=recorder.after_scan)
        found = explain(model, file, mapped, kept, recorder.n_moves)
        counts[f"{what}, {'explained' if wanted is None else 'not explained'}"] += 1
        said = None if found.deviation is None else found.n_rows
        if found.limit is not None or said != wanted:
            yield f"{what}: replay says row {said} ({found.limit}), by listing it is {wanted}"
        if found.deviation is not None and found.deviation.fits is not None:
            counts["times that are told to be the reason"] += 1


def _timed_record(recorder: Recorder, by: random.Random) -> tuple[list[Row], list[float]]:
    """The samples of a random run, and when they were taken."""
    assert recorder.model.timing is not None
    unit_ms = recorder.model.timing.unit_ms
    state, n_units = recorder.world.first, 0
    rows: list[Row] = []
    times: list[float] = []
    while len(rows) < N_ROWS:
        n_passed = by.choice([0, 1, 1, 2, 5]) if rows else 0
        here = sorted(filter(recorder.is_sampled, recorder.within({state: 0}, n_passed)))
        if not here:
            continue
        state = by.choice(here)
        n_units += n_passed
        rows.append(tuple(v if by.random() < 0.85 else None for v in recorder.sample(state)))
        times.append(float(n_units * unit_ms))
    return rows, times


def explained_coarsely(
    fine: Model, coarse: Model, run_class: Class, folder: Path, seed: int
) -> bool:
    """Whether a record of a model is explained by the same model with a coarser unit."""
    by = random.Random(f"fine {seed}")
    recorder = _recorder(fine, world_of(fine, run_class), by)
    rows, times = _timed_record(recorder, by)
    file = _written(recorder, rows, times, folder)
    kept = RunClass(run_class.faults, run_class.at_most, run_class.human)
    mapped = Mapped(after_scan=recorder.after_scan)
    found = explain(coarse, file, mapped, kept, recorder.n_moves)
    return found.deviation is None and found.limit is None


def _written(recorder: Recorder, rows: Sequence[Row], times: Sequence[float], folder: Path) -> Path:
    file = folder / "timed.csv"
    lines = [["time_ms", *recorder.columns]]
    lines += [[f"{t:g}", *(v or "" for v in row)] for t, row in zip(times, rows, strict=True)]
    file.write_text("".join(",".join(line) + "\n" for line in lines), encoding="utf-8")
    return file


def _first_unexplained_in_time(
    recorder: Recorder, rows: Sequence[Row], times: Sequence[float], unit_ms: int
) -> int | None:
    """As `Recorder.first_unexplained`, with the whole units before each time, or one more."""
    possible: set[tuple[int, State]] = set()
    for number, (row, time) in enumerate(zip(rows, times, strict=True)):
        fitting = set()
        whole = int(time // unit_ms)
        for units in {whole, whole + (time % unit_ms > 0)}:
            found = set()
            if not number:
                found = recorder.within({recorder.world.first: 0}, None)
            for since in {before for before, _ in possible if before <= units}:
                start = {state: 0 for before, state in possible if before == since}
                found |= recorder.within(start, units - since)
            fitting |= {
                (units, state)
                for state in found
                if recorder.is_sampled(state) and _fits(row, recorder.sample(state))
            }
        possible = fitting
        if not possible:
            return number
    return None
