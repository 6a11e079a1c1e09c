"""How long the timers of a program have been running, and in which steps time may pass.

Time passes for a controller under test in steps finer than the shortest preset of the model, with
a scan behind each, and in one last short step before a timer is up: so a timer that is up earlier
or later than the model's is seen, and what comes and goes in between.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

# A step is longer where the longest preset would take more of them.
MOST_STEPS = 1000


class Clock:
    """The time that has passed for each running timer, in milliseconds.

    Parameters
    ----------
    presets_ms : mapping of str to int
        Of every timer.
    scan_ms : int
        The period of the scan: what ends within one no scan can tell apart.
    """

    def __init__(self, presets_ms: Mapping[str, int], scan_ms: int) -> None:
        self._presets = presets_ms
        self._passed: dict[str, int] = {}
        presets = [ms for ms in presets_ms.values() if ms]
        shortest, longest = min(presets, default=1), max(presets, default=1)
        self._step = max(1, shortest // 2, longest // MOST_STEPS)
        self._last = min(self._step, scan_ms)

    def follow(self, running: Iterable[str]) -> None:
        """Take over which timers are running: those that were not before begin now."""
        self._passed = {name: self._passed.get(name, 0) for name in running}

    def is_running(self, timer: str) -> bool:
        """Whether it has begun and is not up."""
        return timer in self._passed

    @property
    def next_ms(self) -> int:
        """The time until the first of the running timers is up; 0 where none is running."""
        return min((self._presets[n] - ms for n, ms in self._passed.items()), default=0)

    @property
    def is_early(self) -> bool:
        """Whether more than the last step is missing until a timer is up."""
        return self.next_ms > self._last

    def step(self) -> int:
        """How much time may pass at once: never past the end of a timer."""
        return min(self._step, self.next_ms - self._last) if self.is_early else self.next_ms

    def let_pass(self, ms: int) -> list[str]:
        """Let time pass; the timers that are up now, and so run no longer."""
        self._passed = {name: passed + ms for name, passed in self._passed.items()}
        up = [name for name, passed in self._passed.items() if passed >= self._presets[name]]
        self.follow(name for name in self._passed if name not in up)
        return up
