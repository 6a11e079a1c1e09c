"""What a sheet's rows really show, measured on the independent machine, whatever was planned.

The machine plays the source-level model and interprets the program. A term counts as shown where
one signal was held at its other value, everything else as it was, and the output was another once
all had come to rest: on, off, or flashing.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from interlock.base.errors import InternalError
from interlock.commands.testsheet.goals import FLASHES, Force, Goal, Kind, force_of, lamps_seen
from interlock.commands.testsheet.sheet import After, Do, Expected, Row
from interlock.independent_judge.player import Moment, Player
from interlock.kernel.system import MoveKind, Origin
from interlock.model.build import SCAN
from interlock.model.fault_kinds import Site
from interlock.model.model import Model
from interlock.st.interpret import Controller
from interlock.st.layout import top_of

T = TypeVar("T")

MOST_SCANS = 400
MOST_WAITS = 200
FLASHING = "flashing"


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
    """The independent machine with hands at its terminals.

    Of its state only what `decides` anything is compared: what a program counts on for nobody, such
    as the hours that a pump has run, never comes to rest. By default that is all of it.
    """

    def __init__(self, model: Model, decides: Collection[str] | None = None) -> None:
        self._decides = decides
        self._forced: dict[Site, dict[str, int]] = {Site.SIGNAL: {}, Site.OUTPUT: {}}
        super().__init__(model)
        instances = model.program.instances
        self._presets = {instance.name: instance.preset_ms for instance in instances}
        tops = [top_of(instance, model.settings) for instance in instances if instance.preset_ms]
        self._most_scans = MOST_SCANS + 4 * sum(tops)
        self._moments = [self.moment()]

    def _through(self, value: int, name: str, site: Site) -> int:
        # No fault of the model strikes here: hands do what faults would do.
        return self._forced[site].get(name, value)

    def deciding(self) -> tuple[tuple[str, int], ...]:
        """The state by the names of its parts, but for those that decide nothing."""
        decides = self._decides
        kept = ((n, v) for n, v in self.state().items() if decides is None or n in decides)
        return tuple(sorted(kept))

    def hold(self, force: Force) -> None:
        """Hold inputs and outputs; a supply dip is over at once."""
        self._forced = {Site.SIGNAL: dict(force.signals), Site.OUTPUT: dict(force.outputs)}
        if force.restart:
            self.controller.restart()

    def let_go(self) -> None:
        """Let go of everything."""
        self._forced = {Site.SIGNAL: {}, Site.OUTPUT: {}}

    def cold_start(self) -> None:
        """Start the controller with all its memory cleared."""
        self.controller = Controller(self.model.program, self.model.settings)

    def settle(self) -> None:
        """Scan, and let timers run out as their times come, until all that comes is known."""
        self.play(SCAN)
        left: dict[str, int] = {}
        rounds: list[list[Moment]] = []
        known: dict[object, int] = {}
        for _ in range(MOST_WAITS):
            keys, moments, left = self._scan_on(left)
            first = known.setdefault((frozenset(keys), frozenset(left.items())), len(rounds))
            if not left or first < len(rounds):
                # What was last seen again and again is all that is seen from now on.
                seen = rounds[first:] or [moments]
                self._moments = [moment for round_ in seen for moment in round_]
                return
            rounds.append(moments)
            soonest = min(left.values())
            for timer in [timer for timer, ms in left.items() if ms == soonest]:
                self.play(Origin.elapse(timer).move_name)
                del left[timer]
            left = {timer: ms - soonest for timer, ms in left.items()}
            self.play(SCAN)
        raise InternalError("the timers of a planned row never come to rest")

    def _scan_on(self, left: dict[str, int]) -> tuple[list[object], list[Moment], dict[str, int]]:
        """Scan until states repeat: those, and the milliseconds that running timers still take."""
        keys: dict[object, int] = {}
        moments: list[Moment] = []
        for _ in range(self._most_scans):
            key = self.deciding()
            start = keys.setdefault(key, len(moments))
            if start < len(moments):
                for _again in moments[start:]:
                    left = {t: ms for t, ms in self._still(left).items() if t in left}
                    self.play(SCAN)
                return list(keys)[start:], moments[start:], left
            moments.append(self.moment())
            left = self._still(left)
            self.play(SCAN)
        raise InternalError("the program of a planned row never repeats itself")

    def _still(self, left: dict[str, int]) -> dict[str, int]:
        """What running timers still take; one that has just started takes all of its time."""
        return {t: left.get(t, self._presets[t]) for t in self.controller.running_timers()}

    def _at_each_moment(self, told: Callable[[], T]) -> list[T]:
        """What is told at every moment of what repeats; then it goes on from the last of them."""
        if len(self._moments) == 1:
            return [told()]
        here = self.moment()
        found = []
        for moment in self._moments:
            self.go_back(moment)
            found.append(told())
        self.go_back(here)
        return found

    def at_rest(self) -> dict[str, str]:
        """As `shown`; `FLASHING` for an output that keeps changing."""
        found = self._at_each_moment(self.shown)
        return {n: t if all(f[n] == t for f in found) else FLASHING for n, t in found[0].items()}

    def outputs_at_rest(self) -> dict[str, int]:
        """As `outputs`; `FLASHES` for one that keeps changing."""
        found = self._at_each_moment(self.outputs)
        return {n: v if all(f[n] == v for f in found) else FLASHES for n, v in found[0].items()}

    def make(self, move: str) -> None:
        """Make a move as soon as it is possible, and settle."""
        for moment in self._moments if len(self._moments) > 1 else ():
            if self.possible(move):
                break
            self.go_back(moment)
        self.play(move)
        self.settle()

    def moving(self) -> tuple[str, ...]:
        """Machines that may move by themselves now."""
        moves = [m for m in self.model.moves if m.kind is MoveKind.PLANT]
        found = self._at_each_moment(lambda: [m.machine for m in moves if self.possible(m.name)])
        return tuple(dict.fromkeys(machine for machines in found for machine in machines))


def measure(
    model: Model,
    rows: Iterable[Row],
    goals: Sequence[Goal],
    decides: Collection[str] | None = None,
) -> list[Measured]:
    """Play `rows` in order and tell what each shows.

    Parameters
    ----------
    model : Model
    rows : iterable of Row
    goals : sequence of Goal
    decides : collection of str, optional
        The variables that decide anything that is shown; by default all.

    Raises
    ------
    InternalError
        Where the machine refuses a move that was planned.
    """
    gauge = _Gauge(model, goals, decides)
    return [gauge.row(row) for row in rows]


class _Gauge:
    def __init__(
        self, model: Model, goals: Sequence[Goal], decides: Collection[str] | None
    ) -> None:
        self.model, self._decides = model, decides
        self.goals = {goal.id: goal for goal in goals}
        self._by_force: dict[Force, list[str]] = {}
        for goal in goals:
            if goal.kind is Kind.FAULT:
                force = force_of(model.faults[goal.subject])
                self._by_force.setdefault(force, []).append(goal.id)
        self._lamps = list(dict.fromkeys(g.subject for g in goals if g.kind is Kind.LAMP))
        self.bench = Bench(model, decides)

    def row(self, row: Row) -> Measured:
        if row.anew:
            self.bench = Bench(self.model, self._decides)
            self.bench.settle()
        shown = {f"move {move}" for move in row.prepare} & self.goals.keys()
        bench = self.bench
        for move in row.prepare:
            bench.make(move)
        before, state = bench.at_rest(), bench.deciding()
        outputs = bench.outputs_at_rest()
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
            end = bench.at_rest()
            remains = {n: end[n] for n in self.model.outputs if end[n] != before[n]}
        else:
            if row.move is not None:
                shown |= {f"move {row.move}"} & self.goals.keys()
                bench.make(row.move)
            seen, moving = bench.at_rest(), bench.moving()
            shown |= lamps_seen(bench.outputs_at_rest(), self._lamps)
        changes = {n: seen[n] for n in self.model.outputs if seen[n] != before[n]}
        lit = tuple(
            n for n, o in self.model.outputs.items() if (o.lamp or o.sounds) and _on(seen[n])
        )
        idle = row.move is None and bench.deciding() == state
        flashing = tuple(name for name in self.model.outputs if seen[name] == FLASHING)
        expected = Expected(changes, lit, moving, remains, flashing)
        return Measured(row, expected, frozenset(shown), idle)

    def _force(
        self, force: Force, before: dict[str, int]
    ) -> tuple[dict[str, str], tuple[str, ...], set[str]]:
        bench = self.bench
        bench.hold(force)
        bench.settle()
        last = bench.outputs_at_rest()
        differing = {name for name in before if last[name] != before[name]}
        shown = lamps_seen(last, self._lamps)
        if force.single is not None:
            shown |= {f"term {name} {force.single}" for name in differing} & self.goals.keys()
        if differing:
            shown |= set(self._by_force.get(force, ()))
        return bench.at_rest(), bench.moving(), shown


def _on(label: str) -> bool:
    return label not in ("FALSE", "0", FLASHING)


def seen_by_flashing(measured: Sequence[Measured]) -> list[Measured]:
    """Count a lamp that flashes as seen on and off where it is never seen so without flashing."""
    steady = {goal for found in measured for goal in found.shown}
    result = []
    for found in measured:
        lamps = [g.removesuffix(" flashing") for g in found.shown if g.endswith(" flashing")]
        also = {f"{lamp} {seen}" for lamp in lamps for seen in ("on", "off")} - steady
        result.append(replace(found, shown=found.shown | also))
    return result


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
