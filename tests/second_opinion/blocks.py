"""The standard function blocks, one call at a time.

A block's memory lies among the program's values under ``NAME.PART``. Source: the block bodies and
timing diagrams of IEC 61131-3, from memory.

A timer of no time has elapsed at once. A free timer that `runs` gets ``ended`` from outside, at any
moment; a counted one counts the scans in which it is called, once each.
"""

from __future__ import annotations

from collections.abc import Callable

from interlock.st.layout import Settings, Timers
from interlock.st.typed import Instance
from tests.second_opinion.expressions import Values

TIMERS = ("TON", "TOF", "TP")
# A counter counts on past its preset value. Nothing that is drawn at random compares it with more
# than 3, keeps it where more than 3 fits, or calculates with it, so from here on it may stay.
_MOST_COUNTED = 5


def first_memory(instance: Instance, settings: Settings) -> dict[str, int]:
    """What a block remembers before its first call."""
    match instance.block:
        case "SR" | "RS":
            parts = {"Q1": 0}
        case "R_TRIG":
            parts = {"Q": 0, "M": 0}
        case "F_TRIG":
            # M is the last NOT CLK: in the 2nd edition a first call with CLK FALSE is an edge.
            parts = {"Q": 0, "M": 1 if settings.edges == 1 else 0}
        case "CTU":
            parts = {"Q": 0, "CV": 0, "M": 0}
        case _:
            parts = {"Q": 0, "ET": 0, "runs": 0, "ended": 0, "scans": 0}
            if instance.block == "TP":
                parts["last"] = 0
    return {f"{instance.name}.{part}": value for part, value in parts.items()}


def call_block(
    instance: Instance, given: dict[str, int], values: Values, settings: Settings, again: bool
) -> None:
    """Call `instance` with its inputs; `again` where it was called in this scan before."""
    name = instance.name
    part = {key: f"{name}.{key}" for key in ("Q", "Q1", "M", "CV")}
    match instance.block:
        case "SR":
            values[part["Q1"]] = given["S1"] | ((1 - given["R"]) & values[part["Q1"]])
        case "RS":
            values[part["Q1"]] = (1 - given["R1"]) & (given["S"] | values[part["Q1"]])
        case "R_TRIG":
            values[part["Q"]] = given["CLK"] & (1 - values[part["M"]])
            values[part["M"]] = given["CLK"]
        case "F_TRIG":
            values[part["Q"]] = (1 - given["CLK"]) & (1 - values[part["M"]])
            values[part["M"]] = 1 - given["CLK"]
        case "CTU":
            rises = given["CU"] and not values[part["M"]]
            values[part["M"]] = given["CU"]
            if given.get("R", 0):
                values[part["CV"]] = 0
            elif rises and values[part["CV"]] < _MOST_COUNTED:
                values[part["CV"]] += 1
            values[part["Q"]] = int(values[part["CV"]] >= given["PV"])
        case _:
            _Timer(instance, values, settings).call(given["IN"], again)


class _Timer:
    """One call of a timer; the memory stays among the values."""

    def __init__(self, instance: Instance, values: Values, settings: Settings) -> None:
        self._instance = instance
        self._values = values
        self._free = settings.timers is Timers.FREE
        self._scan_ms = settings.scan_ms

    def call(self, on: int, again: bool) -> None:
        goes_on = bool(self._get("runs")) and not again
        if goes_on and not self._free:
            self._set(scans=self._get("scans") + 1)
        step: Callable[[int], None]
        step = {"TON": self._ton, "TOF": self._tof, "TP": self._tp}[self._instance.block]
        step(on)
        if not self._free:
            self._set(ET=min(self._get("scans") * self._scan_ms, self._instance.preset_ms))

    def _get(self, part: str) -> int:
        return self._values[f"{self._instance.name}.{part}"]

    def _set(self, **parts: int) -> None:
        for part, value in parts.items():
            self._values[f"{self._instance.name}.{part}"] = value

    def _is_over(self) -> bool:
        """Whether the preset time has passed since the start."""
        if self._instance.preset_ms == 0:
            return True
        if self._free:
            return bool(self._get("ended"))
        return self._get("scans") * self._scan_ms >= self._instance.preset_ms

    def _start(self) -> None:
        self._set(runs=1, ended=0, scans=0)

    def _ton(self, on: int) -> None:
        if not on:
            self._set(Q=0, runs=0, ended=0, scans=0)
            return
        if not self._get("Q") and not self._get("runs"):
            self._start()
        if not self._get("Q") and self._is_over():
            self._set(Q=1, runs=0, ended=0)

    def _tof(self, on: int) -> None:
        if on:
            self._set(Q=1, runs=0, ended=0, scans=0)
            return
        if self._get("Q") and not self._get("runs"):
            self._start()
        if self._get("Q") and self._is_over():
            self._set(Q=0, runs=0, ended=0)

    def _tp(self, on: int) -> None:
        if not self._get("runs") and on and not self._get("last"):
            self._start()
            self._set(Q=1)
        if self._get("runs") and self._is_over():
            self._set(Q=0, runs=0, ended=0)
        if not self._get("runs") and not on:
            self._set(scans=0)
        self._set(last=on)
