"""Clocks: the part of a system by which durations decide when moves may happen, and must.

Each move with a period has a clock. It counts the units of time for which the move's guard has
lasted and is 0 wherever that does not hold: whatever ends it, if only for an instant, sets the
clock back, and so does the move itself. The move may happen once its clock has reached the least
of the period; while a clock stands at its greatest no time passes. A clock counts no further than
that, or than the least where nothing must happen.

What goes on where it is interrupted keeps, in ``begun.<move>``, for how long it was under way while
its machine stays where it is. Each time that it was counts as one unit more than its clock says:
between two ticks nobody knows when it began and when it was stopped, so it may have been nearly
that much longer. It may happen once all of that together reaches its least. When it must happen is
told by its clock alone, which then begins anew: later than it can be, never earlier.

Nobody knows where in its time one of several controllers is when it begins to scan: at power-up, or
where it scans again. So its first scan waits for no least, and ``first.<scan>`` is true until then.

A stay, which keeps a move waiting while it is short, has a clock of its own. It counts the units
for which the stay's own condition has lasted, whatever becomes of the move's guard.

So time stands still only where something that it waits for can happen at once. That it can go on
for ever is so by construction where every greatest is a unit or more: each move that is made sets
one clock back and none forward. A greatest of no time at all may be demanded of two moves in a
circle; then it is a question to be asked.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, Expr, and_, const, eq, ite, le, lt, not_, or_, var
from interlock.kernel.system import BOOL, Domain, Move, MoveKind, Origin, Role, System, Variable
from interlock.model.durations import Span
from interlock.model.model import Model
from interlock.model.timing import BEGUN, CLOCK, FIRST, TICK, Timing, Units, ms_of
from interlock.st.blocks import TIMERS
from interlock.st.evaluate import evaluate_expression
from interlock.st.lower import lower_expression
from interlock.st.typed_parts import most_calls


@dataclass(frozen=True)
class _Clock:
    """The clock of a move.

    Attributes
    ----------
    move : Move
        As it is without a clock.
    within : Units
    machine : str
        Whose move it is, where it goes on behind what interrupts it; else empty.
    """

    move: Move
    within: Units
    machine: str = ""

    @property
    def name(self) -> str:
        return CLOCK + self.move.name

    @property
    def now(self) -> Expr:
        """Its value; a clock that has but one is no variable."""
        return var(self.name) if self.within.counted else const(0)

    @property
    def is_up(self) -> Expr:
        """Whether no more time may pass before the move, or before its guard is gone."""
        if self.within.greatest is None:
            return FALSE
        return and_(self.move.guard, le(const(self.within.greatest), self.now))

    def lasts_behind(self, made: Move) -> Expr:
        """Whether what the move waits for is so behind another move, or its own."""
        return ex.substitute([self.move.guard], made.updates)[0]

    def behind(self, made: Move) -> Expr:
        """Its value behind another move, or its own."""
        if made.name == self.move.name:
            return const(0)
        lasts = self.lasts_behind(made)
        return self.now if lasts is self.move.guard else ite(lasts, self.now, const(0))

    @property
    def is_ripe(self) -> Expr:
        """Whether it may happen: it has lasted for its least, by one piece or by several."""
        lasted = le(const(self.within.least), self.now)
        if not self.goes_on:
            return lasted
        return or_(lasted, and_(lt(const(0), self.begun), le(const(self.within.least), self._all)))

    @property
    def goes_on(self) -> bool:
        """Whether anything is kept of it where it is interrupted."""
        return bool(self.machine) and self.within.least > 0

    @property
    def begun(self) -> Expr:
        """For how long it was under way before it was interrupted; 0 where it was not."""
        return var(BEGUN + self.move.name)

    @property
    def most_begun(self) -> int:
        """From here on it may happen at once where it goes on."""
        return max(1, self.within.least - 1)

    @property
    def _all(self) -> Expr:
        """For how long it may have been under way in all, by pieces of which this is one."""
        return ex.add(ex.add(self.begun, self.now), const(1))

    def begun_behind(self, made: Move) -> Expr:
        """What is kept of it behind another move, or its own."""
        if made.name == self.move.name:
            return const(0)
        lasts, kept = self.lasts_behind(made), self.begun
        if lasts is not self.move.guard:
            stopped = and_(self.move.guard, not_(lasts))
            kept = ite(stopped, ex.minimum(self._all, const(self.most_begun)), kept)
        if self.machine in made.updates:
            kept = ite(eq(made.updates[self.machine], var(self.machine)), kept, const(0))
        return kept

    @property
    def is_first(self) -> Expr:
        """Of a scan: whether its controller has not scanned since it scans at all."""
        return var(FIRST + self.move.name)

    def is_first_behind(self, made: Move) -> Expr:
        """The same behind another move, or its own."""
        lasts = self.lasts_behind(made)
        if made.name == self.move.name:
            return not_(lasts)
        return self.is_first if lasts is self.move.guard else or_(self.is_first, not_(lasts))

    @property
    def later(self) -> Expr:
        """Its value one unit later."""
        one_more = ex.minimum(ex.add(self.now, const(1)), const(self.within.counted))
        return ite(self.move.guard, one_more, self.now)


@dataclass(frozen=True)
class Staying:
    """A stay: its name, its condition, and the units of time for which it keeps a move waiting.

    `first` is what its clock has at first.
    """

    name: str
    condition: Expr
    units: int
    first: int


class Clocks:
    """The clocks of a system's moves.

    Parameters
    ----------
    moves : iterable of Move
    periods : mapping of str to Units
        By the name of the move; also of moves that this system does not have.
    stays : mapping of str to Staying
        By the name of the move that waits for it.
    scans : collection of str
        The scans of which the first may come at any moment of its time.
    machines : mapping of str to str
        The machine of each move that goes on where it is interrupted, by the move's name.
    """

    def __init__(
        self,
        moves: Iterable[Move],
        periods: Mapping[str, Units],
        stays: Mapping[str, Staying] | None = None,
        scans: Collection[str] = (),
        machines: Mapping[str, str] | None = None,
    ) -> None:
        of = machines or {}
        self._clocks = {
            move.name: _Clock(move, periods[move.name], of.get(move.name, ""))
            for move in moves
            if move.name in periods
        }
        self._going_on = [clock for clock in self._clocks.values() if clock.goes_on]
        self._stays = {move: _staying(stay) for move, stay in (stays or {}).items()}
        self._first = {stay.name: stay.first for stay in (stays or {}).values()}
        # Several moves wait for one stay, and one clock counts it.
        distinct = {clock.name: clock for clock in self._stays.values()}
        every = [*self._clocks.values(), *distinct.values()]
        self._counting = [clock for clock in every if clock.within.counted]
        self._scans = {name: self._clocks[name] for name in scans if periods[name].least}

    def variables(self, initial: Mapping[str, int]) -> list[Variable]:
        """What counts, by default from 0 on, what is kept, and whose first scan is to come."""
        others = [Variable(FIRST + name, BOOL, 1, Role.TIMER) for name in self._scans]
        others += [
            Variable(BEGUN + clock.move.name, Domain(0, clock.most_begun), 0, Role.TIMER)
            for clock in self._going_on
        ]
        return others + [
            Variable(
                clock.name,
                Domain(0, clock.within.counted),
                {**self._first, **initial}.get(clock.move.name, 0),
                Role.TIMER,
            )
            for clock in self._counting
        ]

    def kept_by(self, move: Move, waiting: Iterable[str] | None = None) -> Move:
        """The move in its time, with what it makes of all clocks.

        Parameters
        ----------
        move : Move
        waiting : iterable of str, optional
            The moves whose times it waits for; by default its own.
        """
        names = [move.name] if waiting is None else waiting
        guard, fair = move.guard, move.fair
        for own in (self._clocks[name] for name in names if name in self._clocks):
            is_ripe = own.is_ripe
            if own.move.name in self._scans:
                is_ripe = or_(own.is_first, is_ripe)
            guard = and_(guard, is_ripe)
        if (stay := self._stays.get(move.name)) is not None:
            is_over = le(const(stay.within.least), stay.now)
            guard = and_(guard, or_(not_(stay.move.guard), is_over))
        if fair is not None:
            # Owed where it may happen: what is owed before, and never can for want of time, would
            # make a run in which time stands still count for nothing.
            fair = guard if guard is not move.guard else fair
        updates = dict(move.updates)
        for clock in self._counting:
            behind = clock.behind(move)
            if behind is not clock.now:
                updates[clock.name] = behind
        for clock in self._going_on:
            behind = clock.begun_behind(move)
            if behind is not clock.begun:
                updates[BEGUN + clock.move.name] = behind
        for name, clock in self._scans.items():
            behind = clock.is_first_behind(move)
            if behind is not clock.is_first:
                updates[FIRST + name] = behind
        return replace(move, guard=guard, updates=updates, fair=fair)

    @property
    def may_pass(self) -> Expr:
        """Whether a unit of time may pass now."""
        return not_(or_(*(clock.is_up for clock in self._clocks.values())))

    def tick(self, timing: Timing) -> Move:
        """The passing of one unit of time, which is owed where it stays possible."""
        updates = {clock.name: clock.later for clock in self._counting}
        says = f"{timing.unit_ms} ms pass"
        return Move(TICK, MoveKind.TIME, self.may_pass, updates, self.may_pass, says)


def _staying(stay: Staying) -> _Clock:
    """The clock of a stay: that of a move that is never made and whose guard must last."""
    return _Clock(Move(stay.name, MoveKind.TIME, stay.condition, {}), Units(stay.units, None))


def without_clocks(system: System) -> System:
    """A system with time as it is without: nothing waits for its time, and none passes."""
    if all(move.name != TICK for move in system.moves):
        return system
    full: dict[str, Expr] = {
        v.name: const(v.domain.hi)
        for v in system.variables
        if v.name.startswith((CLOCK, BEGUN, FIRST))
    }
    moves = []
    for move in system.moves:
        if move.name != TICK:
            (guard,) = ex.substitute([move.guard], full)
            updates = {name: new for name, new in move.updates.items() if name not in full}
            fair = None if move.fair is None else guard
            moves.append(replace(move, guard=guard, updates=updates, fair=fair))
    variables = tuple(v for v in system.variables if v.name not in full)
    return replace(system, variables=variables, moves=tuple(moves))


def clocked(
    timing: Timing,
    moves: Sequence[Move],
    periods: Mapping[str, Units],
    scans: Sequence[str],
    stays: Mapping[str, Staying],
    machines: Mapping[str, str],
) -> tuple[list[Variable], list[Move]]:
    """Clocks, and the moves with them, time itself as the last.

    Parameters
    ----------
    timing : Timing
    moves : sequence of Move
    periods : mapping of str to Units
        By the name of the move; those of what is no move here are passed over.
    scans : sequence of str
        Names of the scans. Of one, the first comes before any time passes; of several, each has its
        first at any moment of its time.
    stays : mapping of str to Staying
        By the name of the move that waits for it.
    machines : mapping of str to str
        From `going_on`.
    """
    clocks = Clocks(moves, periods, stays, scans if len(scans) > 1 else (), machines)
    first = {scan: periods[scan].counted for scan in scans} if len(scans) == 1 else {}
    kept = [clocks.kept_by(move) for move in moves]
    return clocks.variables(first), [*kept, clocks.tick(timing)]


def going_on(model: Model) -> dict[str, str]:
    """The machine of each move that goes on where it is interrupted, by the move's name."""
    return {
        move.name: move.machine
        for move in model.moves
        if move.takes is not None and move.takes.goes_on
    }


def may_stand_still(model: Model, periods: Mapping[str, Units]) -> bool:
    """Whether it must be asked if time can go on: something may have to happen in no time.

    Of a quantity that sets out from where it stands that is no question: to stand there again it
    must cross a band, which takes a unit or more.
    """
    setting_out = {m.name for m in model.moves if model.machines[m.machine].bands is not None}
    return any(p.greatest == 0 for name, p in periods.items() if name not in setting_out)


def stays_of(model: Model) -> dict[str, Staying]:
    """The stay that each move waits for, by the move's name; none without time."""
    if model.timing is None:
        return {}
    at_first = {name.casefold(): machine.initial for name, machine in model.machines.items()}
    truth = {name.casefold(): var(name) for name in model.machines}
    found = {}
    for move in model.moves:
        if (stay := move.stays) is not None:
            units = model.timing.units(stay.ms, None).least
            first = units if evaluate_expression(stay.condition, at_first) else 0
            condition = lower_expression(stay.condition, truth)
            found[move.name] = Staying(stay.name, condition, units, first)
    return found


def periods_of(model: Model) -> dict[str, Units]:
    """The period of each move that has one, by its name; none without time."""
    timing = model.timing
    if timing is None:
        return {}
    return {name: timing.units(span.least_ms, span.greatest_ms) for name, span in spans_of(model)}


def spans_of(model: Model) -> Iterator[tuple[str, Span]]:
    """The time of each move that has one, with its name; none without time.

    What people do, and what only may happen, takes its least time and is never owed. A timer whose
    preset time varies, and one that is called more than once in a scan and so may start anew within
    it, is up earlier or later than its clock alone could tell, so what is not sure of it is left
    open.
    """
    timing = model.timing
    if timing is None:
        return
    for one in model.controllers:
        spacing, place = timing.spacing(one.name), one.place or timing.place
        yield one.scan, Span(Fraction(spacing.least_ms), Fraction(spacing.greatest_ms), place)
    for move in model.moves:
        if move.takes is not None:
            is_owed = move.kind is MoveKind.PLANT and not move.may
            greatest = ms_of(move.takes.greatest) if is_owed else None
            yield move.name, Span(ms_of(move.takes.least), greatest, move.place)
    for one in model.controllers:
        for instance in one.program.instances:
            if instance.block not in TIMERS:
                continue
            preset_ms = Fraction(instance.preset_ms)
            least_ms = Fraction(0) if instance.varies else preset_ms
            is_sure = most_calls(one.program.body, instance.name) == 1
            name = Origin.elapse(one.inside(instance.name)).move_name
            yield name, Span(least_ms, preset_ms if is_sure else None, instance.place)
