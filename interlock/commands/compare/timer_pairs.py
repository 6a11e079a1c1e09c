"""Timers of two programs that are due together if they started together."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interlock.kernel import expr as ex
from interlock.kernel.expr import TRUE, Expr, Op, and_, const, eq, not_, var
from interlock.st import typed as ty
from interlock.st.layout import PREFIX, Settings, Timers, position_name
from interlock.st.lower import Lowered

NEW = "new."
"""Before the names of the new controller's variables."""


def names_of(instance: ty.Instance, settings: Settings, prefix: str) -> tuple[str, str]:
    """The variables that tell whether a timer runs, and how far it has come."""
    running = f"{prefix}{PREFIX}{instance.name}.running"
    return running, prefix + position_name(instance, settings)


def due(instance: ty.Instance, settings: Settings, prefix: str) -> tuple[Expr, str]:
    """Whether a timer's time may be up, and the variable that tells when it is."""
    running, position = names_of(instance, settings, prefix)
    return and_(var(running), not_(var(position))), position


def free_timers(lowered: Lowered) -> list[ty.Instance]:
    """The timers whose time may be up at any moment."""
    if lowered.settings.timers is not Timers.FREE:
        return []
    return [instance for instance in lowered.program.instances if instance.preset_ms]


def begin_seen(ours: Lowered, our_timer: str, theirs: Lowered, their_timer: str) -> bool:
    """Whether neither timer can start anew within a scan without being seen to."""
    pairs = ((ours, our_timer), (theirs, their_timer))
    return not any(_may_begin_unseen(of, timer) for of, timer in pairs)


def latched(lowered: Lowered, signals: Mapping[str, Expr]) -> dict[str, Expr]:
    """What a scan latches, by the names that the lowered program has for it."""
    inputs = lowered.program.inputs
    return {f"input.{one.name}": signals[one.name.casefold()] for one in inputs}


def presets_read(
    lowered: Lowered, signals: Mapping[str, Expr], renamed: Mapping[str, Expr]
) -> dict[str, Expr]:
    """The preset times that vary, over signals, by timer."""
    names = {**renamed, **latched(lowered, signals)}
    given = ex.substitute(list(lowered.presets.values()), names)
    return dict(zip(lowered.presets, given, strict=True))


class Presets:
    """The preset times of two programs' timers, of those for which they vary.

    Parameters
    ----------
    ours, theirs : mapping of str to Expr
        As of `presets_read`.
    """

    def __init__(self, ours: Mapping[str, Expr], theirs: Mapping[str, Expr]) -> None:
        self._ours, self._theirs = ours, theirs

    def are_same(self, our_timer: str, their_timer: str, stand_in: Mapping[str, Expr]) -> bool:
        """Whether both times are always the same, with `stand_in` for variables of the new one."""
        ours, theirs = self._ours.get(our_timer), self._theirs.get(their_timer)
        if ours is None or theirs is None:
            return ours is theirs
        return ex.substitute([theirs], stand_in)[0] is ours

    def are_alike(self, our_timer: ty.Instance, their_timer: str) -> Expr:
        """Whether a scan gives both timers the same time, or leaves both with what they had.

        Two timers that ran from one scan on, and were given alike in each since, are due at once.
        The greatest time of both is the same.
        """
        ours, theirs = self._ours.get(our_timer.name), self._theirs.get(their_timer)
        only: set[int | None] = {our_timer.preset_ms}
        if (ours is None or _constants_of(ours, our_timer.name, "") == only) and (
            theirs is None or _constants_of(theirs, their_timer, NEW) == only
        ):
            return TRUE
        greatest = our_timer.preset_ms
        left = const(greatest + 1)
        return eq(
            const(greatest) if ours is None else _given(ours, our_timer.name, "", left),
            const(greatest) if theirs is None else _given(theirs, their_timer, NEW, left),
        )


def _kept(timer: str, prefix: str) -> set[str]:
    """The names of what a timer was given before."""
    return {f"{timer}.PT", f"{prefix}{PREFIX}{timer}.PT"}


def _given(preset: Expr, timer: str, prefix: str, left: Expr) -> Expr:
    """What a scan gives a timer; `left` where it leaves it with what it had."""
    return ex.substitute([preset], dict.fromkeys(_kept(timer, prefix), left))[0]


def _constants_of(preset: Expr, timer: str, prefix: str) -> set[int | None]:
    """The constants that a preset time is, with None where it is anything else.

    Left out are what the timer was given before, which is one of these, or none at all before its
    first call, and a time of 0: that is told by what a scan makes of the timer.
    """
    kept = _kept(timer, prefix)
    found: set[int | None] = set()
    todo = [preset]
    while todo:
        one = todo.pop()
        if one.op is Op.ITE:
            todo += one.args[1:]
        elif one.op is Op.CONST:
            found.add(one.value)
        elif one.op is not Op.VAR or one.name not in kept:
            found.add(None)
    return found - {0}


def timer_pairs(ours: Lowered, theirs: Lowered) -> dict[str, ty.Instance]:
    """For each new timer an old one that is due with it if it started with it.

    Any two timers of the same preset are; namesakes come first. A timer that could start anew
    within a scan unseen has a pair in its namesake only, and keeps that only where both are
    computed alike.
    """
    free = {i.name: i for i in free_timers(ours)}
    unseen = {
        (of is ours, i.name)
        for of in (ours, theirs)
        for i in free_timers(of)
        if _may_begin_unseen(of, i.name)
    }
    found: dict[str, ty.Instance] = {}
    for by_name in (True, False):
        for timer in free_timers(theirs):
            if timer.name in found:
                continue
            for name, candidate in free.items():
                same_name = name.casefold() == timer.name.casefold()
                if not by_name and {(True, name), (False, timer.name)} & unseen:
                    continue
                if candidate.preset_ms == timer.preset_ms and (same_name or not by_name):
                    found[timer.name] = free.pop(name)
                    break
    return found


def _may_begin_unseen(lowered: Lowered, timer: str) -> bool:
    """Whether a timer that runs before a scan and after it may have started within it.

    One that is called once cannot. An on-delay starts anew by a call with IN on after one with
    IN off: where all calls but the first give FALSE, as for the time of a step, there is none.
    """
    block = next(i.block for i in lowered.program.instances if i.name == timer)
    later = list(_asked_by_calls(lowered.program.body, timer))[1:]
    return bool(later) and (block != "TON" or any(_may_be_on(asked) for asked in later))


def _may_be_on(asked: ty.Expression | None) -> bool:
    return not isinstance(asked, ty.Constant) or bool(asked.value)


def _asked_by_calls(body: Sequence[ty.Statement], instance: str) -> Iterator[ty.Expression | None]:
    """What each call of an instance gives to IN, in the order of the text."""
    given: dict[str, ty.Expression] = {}  # by what stands in a row before the statement
    for s in body:
        match s:
            case ty.Assign():
                given[s.target] = s.value
                continue
            case ty.Invoke():
                if s.instance == instance:
                    asked = dict(s.inputs).get("IN")
                    yield given.get(asked.name, asked) if isinstance(asked, ty.Read) else asked
            case ty.If() | ty.Case():
                for branch in s.branches:
                    yield from _asked_by_calls(branch.body, instance)
                yield from _asked_by_calls(s.otherwise, instance)
        given = {}
