"""Models with two controllers in which time passes, tick by tick; nothing of the product is used.

What is under way has an age: the ticks for which its own condition has been true in every state.
It may happen once it can have taken its least time, and no tick comes that would let it take
longer than its greatest. Only the first scan of a controller, since power-up or since it scans
again, waits for nothing: nobody knows in which phase it begins.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from tests.second_opinion.several import Graph, State, World
from tests.second_opinion.several_drawn import Spec

TICK = "tick"


class TimedWorld(World):
    """A model with time and at most so many of its faults; None for any number."""

    def __init__(self, spec: Spec, n_faults: int | None) -> None:
        super().__init__(spec, n_faults)
        self.reach = {name: math.ceil(ms / spec.unit_ms) for name, ms in spec.delays.items()}
        self._spans: dict[str, tuple[int, int | None]] = {}
        for one, program in spec.programs.items():
            self._spans[f"scan of {one}"] = program.scan
            if program.has_timer:
                self._spans[f"timer of {one}"] = program.preset_ms, program.preset_ms
        for number, move in enumerate(spec.moves):
            if move.takes is not None:
                least, greatest = move.takes
                is_owed = move.by == "plant" and not move.may
                self._spans[f"move {number}"] = least, greatest if is_owed else None

    def _is_late(self, name: str) -> bool:
        return super()._is_late(name) or name in self.spec.delays

    def first(self) -> State:
        """Power-up."""
        return self._aged(super().first(), {}, "")

    def _under_way(self, s: State) -> set[str]:
        found = {f"scan of {one}" for one in self.scanning(s)}
        found |= {f"timer of {one}" for one in self._running(s)}
        found |= {f"move {n}" for n in range(len(self.spec.moves)) if self._is_possible(s, n)}
        return found & self._spans.keys()

    def _aged(self, s: State, before: dict[str, tuple[int, bool]], made: str) -> State:
        """The state with the ages that it has behind `made`."""
        ages = []
        for name in sorted(self._under_way(s)):
            age, is_first = before.get(name, (0, True))
            if name == made:
                age, is_first = 0, False
            # Beyond what can be waited for nothing changes any more.
            ages.append((name, min(age, self._last(name)), is_first))
        return s._replace(ages=tuple(ages))

    def _last(self, name: str) -> int:
        least, greatest = self._spans[name]
        unit_ms = self.spec.unit_ms
        return least // unit_ms if greatest is None else math.ceil(greatest / unit_ms)

    def _is_ripe(self, s: State, name: str) -> bool:
        for other, age, is_first in s.ages:
            if other == name:
                begins = is_first and name.startswith("scan")
                return begins or age >= self._spans[name][0] // self.spec.unit_ms
        return True

    def _may_tick(self, s: State) -> bool:
        owed = [(name, age) for name, age, _ in s.ages if self._spans[name][1] is not None]
        return all(age < self._last(name) for name, age in owed)

    def ways(self, s: State) -> Iterator[tuple[str, State, str]]:
        """Everything that may happen in its time, and the passing of time."""
        ages = {name: (age, is_first) for name, age, is_first in s.ages}
        for name, after, kind in super().ways(s):
            if self._is_ripe(s, name):
                yield name, self._aged(after, ages, name), kind
        if self._may_tick(s):
            older = {name: (age + 1, is_first) for name, (age, is_first) in ages.items()}
            yield TICK, self._aged(self._later(s), older, TICK), "time"

    def _later(self, s: State) -> State:
        """A unit of time later: of what was given, what is too old can be read no more."""
        now = self.signals(s)
        given = tuple(
            (n, (frozenset([now[n]]), *old)[: self.reach[n] + 1]) if n in self.reach else (n, old)
            for n, old in s.given
        )
        gone = {n for n, old in given if n in self.reach and frozenset().union(*old) == {now[n]}}
        return s._replace(given=given, late=s.late - gone, by="")

    def owed(self, s: State) -> set[str]:
        """As without time where its time has come, and time itself."""
        found = {name for name in super().owed(s) if self._is_ripe(s, name)}
        return found | ({TICK} if self._may_tick(s) else set())


class TimedGraph(Graph):
    """Every state of such a world."""

    def is_late(self, p: set[State], s: set[State], n_ticks: int) -> bool:
        """Whether so many ticks may pass behind a state of `p` before one of `s` comes."""
        waiting = [(state, 0) for state in p - s]
        seen = set(waiting)
        while waiting:
            state, passed = waiting.pop()
            for name, after, _ in self.ways[state]:
                key = after, passed + (name == TICK)
                if key[1] >= n_ticks:
                    return True
                if after not in s and key not in seen:
                    seen.add(key)
                    waiting.append(key)
        return False
