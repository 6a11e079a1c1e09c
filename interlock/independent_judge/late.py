"""What signals gave since earlier scans, kept as a log, and which of them are late at the next.

Written apart from what the engines are given: from the meaning in ``DEVELOPERS.md`` alone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from interlock.kernel.system import AGE, LATE
from interlock.model.model import Model


@dataclass(frozen=True)
class Given:
    """What late signals gave, and which of them the next scan reads as they were.

    Attributes
    ----------
    since : mapping of str to tuple of frozenset of int
        By signal, for each of the last scans, the latest first: what its sensor gave from that
        scan's reading on, to the next scan's reading. Of a delay in time, for each of the last
        units likewise.
    late : frozenset of str
    """

    since: Mapping[str, tuple[frozenset[int], ...]]
    late: frozenset[str] = frozenset()


class Lateness:
    """Keeps what each signal with an age gave.

    Parameters
    ----------
    model : Model
    signals : callable
        Gives what the sensors give now, power-up being the first time.

    Attributes
    ----------
    now : Given
    """

    def __init__(self, model: Model, signals: Callable[[], Mapping[str, int]]) -> None:
        self._signals = signals
        self._most = {sensor.name: sensor.age for sensor in model.late_sensors if sensor.age}
        self._unit_ms = 0 if model.timing is None else model.timing.unit_ms
        self._in_time = [s.name for s in model.late_sensors if not s.age]
        for sensor in model.late_sensors:
            if not sensor.age and sensor.delay is not None:
                # A value of this unit, and of each before that the delay reaches back into.
                delay, back = Fraction(repr(sensor.delay.ms)), 0
                while back * self._unit_ms < delay:
                    back += 1
                self._most[sensor.name] = 1 + back
        self._read_by = {one.scan: set(one.inputs) for one in model.controllers}
        now = signals() if self._most else {}
        # Before power-up nothing came over the bus: what it gives first is what is there then.
        self.now = Given({name: (frozenset([now[name]]),) for name in self._most})

    def note(self) -> None:
        """Note what the sensors give now."""
        if not self._most:
            return
        signals = self._signals()
        since = {
            name: (latest | {signals[name]}, *earlier)
            for name, (latest, *earlier) in self.now.since.items()
        }
        self.now = replace(self.now, since=since)

    def begin_anew(self, scan: str, signals: Mapping[str, int]) -> None:
        """Note a scan that was made when the sensors gave `signals`; others' go on."""
        read = self._read_by[scan]
        since = {
            name: (frozenset([signals[name]]), *given)[: self._most[name]]
            if name in read and name not in self._in_time
            else given
            for name, given in self.now.since.items()
        }
        self.now = Given(since, self.now.late - read)

    def pass_time(self) -> None:
        """Note that a unit of time has passed."""
        if not self._in_time:
            return
        signals, since = self._signals(), dict(self.now.since)
        for name in self._in_time:
            since[name] = (frozenset([signals[name]]), *since[name])[: self._most[name]]
        gone = {n for n in self._in_time if frozenset().union(*since[n]) == {signals[n]}}
        self.now = Given(since, self.now.late - gone)

    def why_not(self, signal: str) -> str:
        """Why the next scan cannot read what the sensor of `signal` gives no longer; else empty."""
        if signal in self.now.late:
            return "it is late already"
        young = frozenset[int]().union(*self.now.since[signal])
        if young == {self._signals()[signal]}:
            most = self._most[signal]
            if signal in self._in_time:
                return f"it has given nothing else for more than {(most - 1) * self._unit_ms} ms"
            return f"it has given nothing else for {most} scan{'s'[: most != 1]}"
        return ""

    def delay(self, signal: str) -> None:
        """Let the next scan read `signal` as it was."""
        self.now = replace(self.now, late=self.now.late | {signal})

    def as_read(self, signals: Mapping[str, int]) -> dict[str, int]:
        """What a scan would read now."""
        return {n: 1 - given if n in self.now.late else given for n, given in signals.items()}

    def in_words(self, scan: str) -> str:
        """What of older values a scan would read now, to be told behind 'scans'."""
        late = sorted(self.now.late & self._read_by[scan])
        if not late:
            return ""
        read = self.as_read(self._signals())
        told = (f"{name} ({'TRUE' if read[name] else 'FALSE'})" for name in late)
        return f", with an older value of {', '.join(told)}"

    def values(self) -> dict[str, int]:
        """What an engine is to say of it, by the names of the kernel's variables."""
        signals = self._signals() if self._most else {}
        found = {LATE + name: int(name in self.now.late) for name in self._most}
        for name, given in self.now.since.items():
            others = (n for n, values in enumerate(given) if values - {signals[name]})
            found[AGE + name] = next(others, self._most[name])
        return found
