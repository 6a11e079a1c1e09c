"""Timers of two programs that are due together if they started together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.st import typed as ty
from interlock.st.layout import Timers
from interlock.st.lower import Lowered


def free_timers(lowered: Lowered) -> list[ty.Instance]:
    """The timers whose time may be up at any moment."""
    if lowered.settings.timers is not Timers.FREE:
        return []
    return [instance for instance in lowered.program.instances if instance.preset_ms]


def begin_seen(ours: Lowered, our_timer: str, theirs: Lowered, their_timer: str) -> bool:
    """Whether neither timer can start anew within a scan without being seen to."""
    pairs = ((ours, our_timer), (theirs, their_timer))
    return not any(_may_begin_unseen(of, timer) for of, timer in pairs)


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
