"""Requirements as small automata that watch a run.

A watch sees one judged state after the other. It knows whether the scope is open, and what is
owed in it. Scopes are closed on the left and open on the right; where Q and R hold together none
opens; 'between' and 'from .. until' open anew at every state with Q, 'after' at the first Q only.
"""

from __future__ import annotations

from typing import NamedTuple

from interlock.kernel.requirement import Pattern, ScopeKind

# Scopes of which only those count that are closed in the end.
MUST_CLOSE = (ScopeKind.BEFORE, ScopeKind.BETWEEN)
# What speaks of how long something lasts, and what of these begins where P begins.
IN_TIME = (Pattern.AT_LEAST, Pattern.AT_MOST, Pattern.RECURS, Pattern.STAYS, Pattern.NOT_YET)
BEGINNING = (Pattern.AT_LEAST, Pattern.NOT_YET)


class Seen(NamedTuple):
    """What holds in a judged state.

    Attributes
    ----------
    p, s : bool
        The predicates; for 'never' and 'always' p is what must not be.
    opens, closes : bool
        Q and R of the scope.
    """

    p: bool
    s: bool
    opens: bool
    closes: bool


class Watch(NamedTuple):
    """What a watch remembers.

    Attributes
    ----------
    is_open : bool
        The scope is open.
    is_over : bool
        The scope will not open again.
    is_owed : bool
        'exists': P did not come yet. 'leads to': P was not answered yet.
    scans : int
        With a bound: scans since the oldest P that was not answered.
    allowed : bool
        'only after': S has come.
    is_guilty : bool
        What was seen is a violation if the scope closes.
    had_p : bool
        'at least', 'not yet': P held in the state before.
    lasts : bool
        In time: what is timed goes on, and `scans` are the ticks since it began.
    """

    is_open: bool = False
    is_over: bool = False
    is_owed: bool = False
    scans: int = 0
    allowed: bool = False
    is_guilty: bool = False
    had_p: bool = False
    lasts: bool = False


class Step(NamedTuple):
    """A watch after one more state.

    Attributes
    ----------
    is_violated : bool
        No going on mends it.
    inside : bool
        The state lies in the scope.
    """

    watch: Watch
    is_violated: bool
    inside: bool


class Watcher:
    """Watches one pattern in one kind of scope."""

    def __init__(self, pattern: Pattern, scope: ScopeKind, within: int | None) -> None:
        self._pattern = pattern
        self._scope = scope
        self._within = within

    @property
    def first(self) -> Watch:
        """Before any state was seen."""
        # Before R is open from the start: R in the very first state closes it.
        is_open = self._scope in (ScopeKind.GLOBALLY, ScopeKind.BEFORE)
        return Watch(is_open=is_open, is_owed=is_open and self._pattern is Pattern.EXISTS)

    def waits_in_vain(self, watch: Watch) -> bool:
        """Whether it is a violation if things stay like this for ever."""
        return watch.is_open and watch.is_owed and self._scope not in MUST_CLOSE

    def scanned(self, watch: Watch) -> Watch:
        """After one more scan, before the state that it leads to is seen."""
        if self._within is None or not (watch.is_owed or watch.lasts):
            return watch
        return watch._replace(scans=min(watch.scans + 1, self._within))

    def see(self, watch: Watch, seen: Seen) -> Step:
        """See one more judged state."""
        step = self._seen(watch, seen)
        if self._pattern not in BEGINNING:
            return step
        return step._replace(watch=step.watch._replace(had_p=seen.p))

    def _seen(self, watch: Watch, seen: Seen) -> Step:
        if watch.is_open and self._closes(seen):
            owing = watch.is_owed and self._pattern in (Pattern.EXISTS, Pattern.LEADS_TO)
            over = Watch(is_over=self._scope is ScopeKind.BEFORE)
            return Step(over, owing or watch.is_guilty, False)
        anew = self._opens(watch, seen)
        if not (watch.is_open or anew):
            return Step(watch, False, False)
        watch = self._judged(watch._replace(is_open=True), seen, anew)
        if watch.is_guilty and self._scope not in MUST_CLOSE:
            return Step(watch, True, True)
        return Step(watch, False, True)

    def _closes(self, seen: Seen) -> bool:
        return seen.closes and self._scope not in (ScopeKind.GLOBALLY, ScopeKind.AFTER)

    def _opens(self, watch: Watch, seen: Seen) -> bool:
        match self._scope:
            case ScopeKind.AFTER:
                return seen.opens and not watch.is_open
            case ScopeKind.BETWEEN | ScopeKind.AFTER_UNTIL:
                return seen.opens and not seen.closes
        return False

    def _judged(self, watch: Watch, seen: Seen, anew: bool) -> Watch:
        """What the state makes of a watch whose scope is open."""
        match self._pattern:
            case Pattern.NEVER | Pattern.ALWAYS:
                return watch._replace(is_guilty=watch.is_guilty or seen.p)
            case Pattern.EXISTS:
                return watch._replace(is_owed=(watch.is_owed or anew) and not seen.p)
            case Pattern.ONLY_AFTER:
                allowed = seen.s or (watch.allowed and not anew)
                guilty = watch.is_guilty or (seen.p and not allowed)
                return watch._replace(allowed=allowed, is_guilty=guilty)
            case Pattern.LEADS_TO:
                return self._answered(watch, seen)
            case pattern if pattern in IN_TIME:
                return self._timed(watch, seen)
        raise AssertionError(self._pattern)

    def _timed(self, watch: Watch, seen: Seen) -> Watch:
        """Let what is timed begin, go on and end, and tell whether it was too long or too short."""
        assert self._within is not None
        begins = seen.p and not watch.had_p
        is_over = watch.scans >= self._within
        match self._pattern:
            case Pattern.AT_MOST | Pattern.RECURS:
                goes_on = seen.p is (self._pattern is Pattern.AT_MOST)
                is_bad = watch.lasts and goes_on and is_over
                scans = watch.scans if watch.lasts and goes_on else 0
                return watch._replace(
                    lasts=goes_on, scans=scans, is_guilty=watch.is_guilty or is_bad
                )
            case Pattern.AT_LEAST:
                is_bad = watch.lasts and not is_over and not seen.p
                lasts = begins or (watch.lasts and seen.p and not is_over)
                begun = begins
            case Pattern.STAYS:
                lasts = seen.p or (watch.lasts and not is_over)
                is_bad = lasts and not seen.s
                begun = seen.p
            case _:
                lasts = begins or (watch.lasts and not is_over)
                is_bad = lasts and seen.s
                begun = begins
        scans = 0 if begun or not lasts else watch.scans
        return watch._replace(lasts=lasts, scans=scans, is_guilty=watch.is_guilty or is_bad)

    def _answered(self, watch: Watch, seen: Seen) -> Watch:
        if seen.s:
            return watch._replace(is_owed=False, scans=0)
        if not watch.is_owed:
            return watch._replace(is_owed=seen.p, scans=0)
        late = self._within is not None and watch.scans >= self._within
        return watch._replace(is_guilty=watch.is_guilty or late)
