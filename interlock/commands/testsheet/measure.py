"""What a sheet's rows really show, measured on the independent machine, whatever was planned.

The machine plays the source-level model and interprets the program. A term counts as shown where
one signal was held at its other value, everything else as it was, and the output changed in the
scan that followed and still differed when all had come to rest.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from interlock.commands.testsheet.goals import Force, Goal, Kind, force_of
from interlock.commands.testsheet.sheet import After, Do, Expected, Row
from interlock.independent_judge.player import Player
from interlock.kernel.system import MoveKind
from interlock.model.build import SCAN
from interlock.model.model import Model
from interlock.st.interpret import Controller
from interlock.st.layout import elapses

MOST_SCANS = 400


@dataclass(frozen=True)
class Measured:
    """A row, what was seen in it and the ids of all goals that it shows.

    Attributes
    ----------
    idle : bool
        Nothing is otherwise after it than before, so that the sheet could do without it.
    """

    row: Row
    expected: Expected
    shown: frozenset[str]
    idle: bool


class Bench(Player):
    """The independent machine with hands at its terminals."""

    def __init__(self, model: Model) -> None:
        self._forced: dict[str, dict[str, int]] = {"sensors": {}, "outputs": {}}
        super().__init__(model)

    def _through(self, value: int, name: str, side: str) -> int:
        # No fault of the model strikes here: hands do what faults would do.
        return self._forced[side].get(name, value)

    def hold(self, force: Force) -> None:
        """Hold inputs and outputs; a supply dip is over at once."""
        self._forced = {"sensors": dict(force.signals), "outputs": dict(force.outputs)}
        if force.restart:
            self.controller.restart()

    def let_go(self) -> None:
        """Let go of everything."""
        self._forced = {"sensors": {}, "outputs": {}}

    def cold_start(self) -> None:
        """Start the controller with all its memory cleared."""
        self.controller = Controller(self.model.program, self.model.settings)

    def settle(self) -> None:
        """Scan, and let timers run out, until nothing changes."""
        self.play(SCAN)
        for _ in range(MOST_SCANS):
            before = self.state()
            self.play(SCAN)
            if self.state() != before:
                continue
            due = self.controller.running_timers()
            if not due:
                return
            self.play(elapses(due[0]))
            self.play(SCAN)

    def moving(self) -> tuple[str, ...]:
        """Machines that may move by themselves now."""
        moves = [m for m in self.model.moves if m.kind is MoveKind.PLANT]
        return tuple(dict.fromkeys(m.machine for m in moves if self.possible(m.name)))


def measure(model: Model, rows: Iterable[Row], goals: Sequence[Goal]) -> list[Measured]:
    """Play `rows` in order and tell what each shows.

    Raises
    ------
    InternalError
        Where the machine refuses a move that was planned.
    """
    gauge = _Gauge(model, goals)
    return [gauge.row(row) for row in rows]


class _Gauge:
    def __init__(self, model: Model, goals: Sequence[Goal]) -> None:
        self.model = model
        self.goals = {goal.id: goal for goal in goals}
        self._by_force: dict[Force, list[str]] = {}
        for goal in goals:
            if goal.kind is Kind.FAULT:
                force = force_of(model.faults[goal.subject])
                self._by_force.setdefault(force, []).append(goal.id)
        self._lamps = [goal for goal in goals if goal.kind is Kind.LAMP]
        self.bench = Bench(model)

    def row(self, row: Row) -> Measured:
        if row.anew:
            self.bench = Bench(self.model)
            self.bench.settle()
        shown = {f"move {move}" for move in row.prepare} & self.goals.keys()
        for move in row.prepare:
            self._make(move)
        bench = self.bench
        before, state = bench.shown(), bench.state()
        outputs = bench.outputs()
        remains: dict[str, str] = {}
        if row.do is Do.FORCE:
            assert row.force is not None
            seen, moving, shown_here = self._force(row.force, outputs)
            shown |= shown_here
            bench.let_go()
            bench.settle()
            if row.after is After.COLD_START:
                bench.cold_start()
                bench.settle()
            elif row.after is After.RESTART:
                bench.controller.restart()
                bench.settle()
            end = bench.shown()
            remains = {n: end[n] for n in self.model.outputs if end[n] != before[n]}
        else:
            if row.move is not None:
                shown |= {f"move {row.move}"} & self.goals.keys()
                self._make(row.move)
            seen, moving = bench.shown(), bench.moving()
            shown |= self._lamps_seen(bench.outputs())
        changes = {n: seen[n] for n in self.model.outputs if seen[n] != before[n]}
        lit = tuple(
            n for n, o in self.model.outputs.items() if (o.lamp or o.sounds) and _on(seen[n])
        )
        idle = row.move is None and bench.state() == state
        return Measured(row, Expected(changes, lit, moving, remains), frozenset(shown), idle)

    def _make(self, move: str) -> None:
        self.bench.play(move)
        self.bench.settle()

    def _force(
        self, force: Force, before: dict[str, int]
    ) -> tuple[dict[str, str], tuple[str, ...], set[str]]:
        bench = self.bench
        bench.hold(force)
        bench.play(SCAN)
        first = bench.outputs()
        bench.settle()
        last = bench.outputs()
        differing = {name for name in before if last[name] != before[name]}
        shown = self._lamps_seen(last)
        if force.single is not None:
            decided = {name for name in differing if first[name] != before[name]}
            shown |= {f"term {name} {force.single}" for name in decided} & self.goals.keys()
        if differing:
            shown |= set(self._by_force.get(force, ()))
        return bench.shown(), bench.moving(), shown

    def _lamps_seen(self, outputs: dict[str, int]) -> set[str]:
        return {g.id for g in self._lamps if outputs[g.subject] == int(g.other == "on")}


def _on(label: str) -> bool:
    return label not in ("FALSE", "0")


def without_idle_rows(measured: Sequence[Measured]) -> list[Measured]:
    """The rows without those that change nothing and show nothing that others do not show.

    Their preparations pass on to the row behind.
    """
    count: dict[str, int] = {}
    for found in measured:
        for goal in found.shown:
            count[goal] = count.get(goal, 0) + 1
    dropped = set()
    by_worth = sorted(range(len(measured)), key=lambda n: (len(measured[n].shown), -n))
    for number in by_worth:
        found = measured[number]
        own = found.shown - {f"move {move}" for move in found.row.prepare}
        if found.idle and number + 1 < len(measured) and all(count[goal] > 1 for goal in own):
            # At a new start there is nothing to pass on to.
            if measured[number + 1].row.anew and found.row.prepare:
                continue
            dropped.add(number)
            for goal in own:
                count[goal] -= 1
    return _kept(measured, dropped)


def _kept(measured: Sequence[Measured], dropped: set[int]) -> list[Measured]:
    kept: list[Measured] = []
    passed: tuple[str, ...] = ()
    anew = False
    shown: set[str] = set()
    covered: set[str] = set()
    for number, found in enumerate(measured):
        row = found.row
        prepare, anew = (*passed, *row.prepare), anew or row.anew
        shown |= {f"move {move}" for move in row.prepare} & found.shown
        if number in dropped:
            passed = prepare
            continue
        everything = found.shown | shown
        new = sorted(everything - covered)
        covered |= everything
        row = replace(
            row,
            number=len(kept) + 1,
            anew=anew,
            prepare=prepare,
            covers=tuple(new),
            shows=tuple(sorted(everything)),
        )
        kept.append(replace(found, row=row, shown=frozenset(everything)))
        passed, anew, shown = (), False, set()
    return kept
