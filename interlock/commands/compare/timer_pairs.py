"""Timers of two programs that are due together if they started together."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.st import typed as ty
from interlock.st.layout import Timers
from interlock.st.lower import Lowered


def free_timers(lowered: Lowered) -> list[ty.Instance]:
    """The timers whose time may be up at any moment."""
    if lowered.settings.timers is not Timers.FREE:
        return []
    return [instance for instance in lowered.program.instances if instance.preset_ms]


def are_called_once(ours: Lowered, our_timer: str, theirs: Lowered, their_timer: str) -> bool:
    """Whether neither timer is called twice in a scan."""
    n_ours = _n_calls(ours.program.body, our_timer)
    return n_ours < 2 and _n_calls(theirs.program.body, their_timer) < 2


def timer_pairs(ours: Lowered, theirs: Lowered) -> dict[str, ty.Instance]:
    """For each new timer an old one that is due with it if it started with it.

    Any two timers of the same preset are; namesakes come first. A timer that is called more than
    once in a scan could start anew within it unseen; it has a pair in its namesake only, and keeps
    that only where both are computed alike.
    """
    free = {i.name: i for i in free_timers(ours)}
    often = {
        (of is ours, i.name)
        for of in (ours, theirs)
        for i in free_timers(of)
        if _n_calls(of.program.body, i.name) > 1
    }
    found: dict[str, ty.Instance] = {}
    for by_name in (True, False):
        for timer in free_timers(theirs):
            if timer.name in found:
                continue
            for name, candidate in free.items():
                same_name = name.casefold() == timer.name.casefold()
                if not by_name and {(True, name), (False, timer.name)} & often:
                    continue
                if candidate.preset_ms == timer.preset_ms and (same_name or not by_name):
                    found[timer.name] = free.pop(name)
                    break
    return found


def _n_calls(body: Sequence[ty.Statement], instance: str) -> int:
    n = 0
    for s in body:
        match s:
            case ty.Invoke():
                n += s.instance == instance
            case ty.If() | ty.Case():
                n += sum(_n_calls(branch.body, instance) for branch in s.branches)
                n += _n_calls(s.otherwise, instance)
    return n
