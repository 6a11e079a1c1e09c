"""Which engine explores: the one the user names, or the one that suits the question.

The enumerating engine is the faster one while states are few; it also gives depths and level
sizes. Decision diagrams bear more states, and fault flags, each of which may double them; on values
that hang together by arithmetic they can grow as large as a table.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from interlock.engines import catalogue, guider, make, varier
from interlock.kernel.expr import Expr
from interlock.kernel.guided import Guided
from interlock.kernel.query import (
    DeclinedError,
    Engine,
    Exploration,
    Limits,
    ProgressSink,
    Query,
    Reach,
    TooManyValuesError,
    TooMuchWorkError,
)
from interlock.kernel.system import MoveKind, Role, System
from interlock.kernel.varied import Varied

AUTOMATIC = "auto"
# So many are enumerated before diagrams are compiled, let alone grown.
FEW_STATES = 500_000
# Twenty million states of 8 bytes are explored in about ten seconds and 500 MB.
MAX_ENUMERATED = 20_000_000
# Nodes of diagrams: some ten times what the demo vehicle takes, half a minute.
MOST_WORK = 20_000_000
# The demo vehicle joins 8,000; each value of a variable is a set.
MOST_JOINED = 500_000
MAX_FLAGS = 3
_CLOCKS = "clocks, of which diagrams hold each value by itself"
# A table has the runs to its states at hand; diagrams look for each of them anew.
MANY_RUNS = 200


def _bounded() -> dict[str, int]:
    return {"breadth_first_work": 0, "most_work": MOST_WORK, "most_joined": MOST_JOINED}


def by_diagrams(like: System | None = None) -> Engine:
    """Diagrams alone, for what has many states; declines where they grow too large.

    What has the variables of `like` takes over the order of its bits.
    """
    return make("symbolic", like=like, **_bounded())


def state_by_state() -> Engine:
    """Enumeration alone, for a look at few states."""
    return make("enumerate")


class AutomaticEngine:
    """Enumerates a few states, and goes over to diagrams where there are more.

    Where those grow too large and faults are few, and where many runs are asked for, it enumerates
    after all.

    Parameters
    ----------
    has_few_clocks : bool
        Whether clocks are so few that diagrams hold each of their values.
    """

    name = AUTOMATIC

    def __init__(self, has_few_clocks: bool = False) -> None:
        self._has_few_clocks = has_few_clocks

    def explore(
        self,
        system: System,
        queries: Sequence[Query],
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> Exploration:
        """As `Engine.explore`; the answer names the engine that gave it, and why that one did.

        What the first diagrams found before they declined to go on serves the second, and where it
        is more than would be listed, nothing is listed in vain.
        """
        n_flags = sum(variable.role is Role.FAULT for variable in system.variables)
        has_time = _has_time(system) and not self._has_few_clocks
        if n_flags > MAX_FLAGS and not has_time:
            why = f"{n_flags} flags of faults, each of which may double the states"
            return _because(why, make("symbolic").explore(system, queries, limits, progress))
        n_runs = sum(isinstance(query, Reach) for query in queries)
        most, why = FEW_STATES, f"no more than {FEW_STATES:,} states, which are soon listed"
        if has_time:
            most, why = MAX_ENUMERATED, _CLOCKS
        elif n_runs > MANY_RUNS and not _are_too_many(system, limits, progress):
            most, why = MAX_ENUMERATED, f"up to {n_runs} runs are wanted; a table has them at hand"
        found, why_not = _enumerated(system, queries, limits, most, progress)
        if found is not None and not why_not:
            return _because(why, found)
        first = by_diagrams()
        try:
            return _because(why_not, first.explore(system, queries, limits, progress))
        except DeclinedError as declined:
            reason = declined
        most = MAX_ENUMERATED
        is_too_many = _are_known_to_be_too_many(reason, found, limits)
        if is_too_many:
            why_not = f"more than {most:,} states"
        else:
            found, why_not = _enumerated(system, queries, limits, most, progress)
        if found is not None and not why_not:
            return _because(f"{reason}; fewer than {most:,} states", found)
        if not isinstance(reason, TooManyValuesError):
            second = make("symbolic", most_joined=MOST_JOINED, after=first)
            try:
                return _because(why_not, second.explore(system, queries, limits, progress))
            except DeclinedError as declined:
                reason = declined
        if is_too_many:
            found, why_not = _enumerated(system, queries, limits, most, progress)
        if found is not None:
            # Neither goes on to the end; what was found so far is found.
            return _because(f"{reason}; {why_not}", found)
        raise reason

    def guide(
        self,
        system: System,
        goal: Expr,
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> Guided | None:
        """As `kernel.guided.Guides.guide`: by diagrams, where states are not few."""
        found, why_not = _enumerated(system, [], limits, FEW_STATES, progress)
        if found is not None and not why_not:
            return None
        engine = guider(**_bounded())
        try:
            return engine.guide(system, goal, limits, progress)
        except DeclinedError:
            return None

    def vary(
        self, system: System, limits: Limits = Limits(), progress: ProgressSink | None = None
    ) -> Varied | None:
        """As `kernel.varied.Varies.vary`: by diagrams, where states are not few.

        None also where there are clocks, of which diagrams hold each value by itself.
        """
        if _has_time(system):
            return None
        found, why_not = _enumerated(system, [], limits, FEW_STATES, progress)
        if found is not None and not why_not:
            return None
        return varier(**_bounded()).vary(system, limits, progress)


def listed_in_time(
    system: System, queries: Sequence[Query], limits: Limits, progress: ProgressSink | None
) -> Exploration | None:
    """What the automatic engine makes of a system with clocks while its states can be listed.

    None where there are more, or none can be listed.
    """
    most = MAX_ENUMERATED
    is_capped = limits.max_states is None or limits.max_states > most
    capped = replace(limits, max_states=most) if is_capped else limits
    try:
        lister = make("enumerate", answers_if_cut=not is_capped)
        explored = lister.explore(system, queries, capped, progress)
    except DeclinedError:
        return None
    is_cut = is_capped and explored.limit is not None and explored.n_states >= most
    return None if is_cut else _because(_CLOCKS, explored)


def _are_too_many(system: System, limits: Limits, progress: ProgressSink | None) -> bool:
    """Whether diagrams, asked for nothing else, soon tell that there are too many to be listed.

    Counting the demo vehicle's states takes 1 s; listing as many of them as are listed at most,
    with all that a commissioning sheet asks of each, takes more than 75 s, and is of no use.
    """
    if limits.max_states is not None and limits.max_states <= MAX_ENUMERATED:
        return False
    try:
        counted = by_diagrams().explore(system, [], limits, progress)
    except DeclinedError:
        return False
    return counted.limit is None and counted.n_states > MAX_ENUMERATED


def _are_known_to_be_too_many(
    reason: DeclinedError, listed: Exploration | None, limits: Limits
) -> bool:
    """Whether diagrams that did not go on had found more states than are listed at most.

    Where none could be listed, or the user asked for no more, listing tells so by itself.
    """
    if not isinstance(reason, TooMuchWorkError) or listed is None:
        return False
    most = limits.max_states
    return reason.n_states > MAX_ENUMERATED and (most is None or most > MAX_ENUMERATED)


def _has_time(system: System) -> bool:
    return any(move.kind is MoveKind.TIME for move in system.moves)


def _because(why: str, explored: Exploration) -> Exploration:
    return replace(explored, because=why)


def _enumerated(
    system: System,
    queries: Sequence[Query],
    limits: Limits,
    most: int,
    progress: ProgressSink | None,
) -> tuple[Exploration | None, str]:
    """What enumerating answers, None where it declines, and why that is no answer to stay with."""
    is_capped = limits.max_states is None or limits.max_states > most
    capped = replace(limits, max_states=most) if is_capped else limits
    try:
        answers = not is_capped or most == MAX_ENUMERATED
        explored = make("enumerate", answers_if_cut=answers).explore(
            system, queries, capped, progress
        )
    except DeclinedError as declined:
        return None, f"states are not listed: {declined}"
    is_cut = is_capped and explored.limit is not None and explored.n_states >= most
    return explored, f"more than {most:,} states" if is_cut else ""


def available() -> Mapping[str, Callable[[], Engine]]:
    """Every engine a user may name, the automatic choice first."""
    return {AUTOMATIC: AutomaticEngine, **catalogue()}
