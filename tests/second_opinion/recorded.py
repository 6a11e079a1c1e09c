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
                    after for s in reached for kind, after in self._after(s) if kind != "scan"
                }
        return found

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
            yield ("scan" if act.kind in (Kind.SCAN, Kind.LATE) else "move"), after

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
