"""The standard function blocks, executed as their bodies in IEC 61131-3 read."""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping

from interlock.st import typed as ty
from interlock.st.layout import PREFIX, Settings, Timers, position_name, top_of
from interlock.st.types import LIMITS


def call_block(
    instance: ty.Instance,
    inputs: Mapping[str, int],
    values: MutableMapping[str, int],
    settings: Settings,
) -> None:
    """Execute one call of `instance` on the memory in `values`.

    Parameters
    ----------
    instance : typed.Instance
    inputs : mapping of str to int
        By the input's name in upper case.
    values : mutable mapping of str to int
        By the variable's name in the layout.
    settings : Settings
    """
    own = f"{PREFIX}{instance.name}."
    match instance.block:
        case "SR":
            if inputs["S1"]:
                values[own + "Q1"] = 1
            elif inputs["R"]:
                values[own + "Q1"] = 0
        case "RS":
            if inputs["R1"]:
                values[own + "Q1"] = 0
            elif inputs["S"]:
                values[own + "Q1"] = 1
        case "R_TRIG":
            values[own + "Q"] = int(inputs["CLK"] and not values[own + "M"])
            values[own + "M"] = inputs["CLK"]
        case "F_TRIG":
            values[own + "Q"] = int(not inputs["CLK"] and not values[own + "M"])
            values[own + "M"] = int(not inputs["CLK"])
        case "CTU":
            _count_up(own, inputs, values, LIMITS[instance.counted][1])
        case "CTD":
            _count_down(own, inputs, values, LIMITS[instance.counted][0])
        case "CTUD":
            _count_both_ways(own, inputs, values, LIMITS[instance.counted])
        case _:
            preset_ms = inputs["PT"] if instance.varies else None
            _Timer(instance, values, settings, preset_ms).call(bool(inputs["IN"]))


def _count_up(
    own: str, inputs: Mapping[str, int], values: MutableMapping[str, int], most: int
) -> None:
    rises = inputs["CU"] and not values[own + "M"]
    values[own + "M"] = inputs["CU"]
    if inputs.get("R"):
        values[own + "CV"] = 0
    elif rises and values[own + "CV"] < most:
        values[own + "CV"] += 1
    values[own + "Q"] = int(values[own + "CV"] >= inputs["PV"])


def _count_down(
    own: str, inputs: Mapping[str, int], values: MutableMapping[str, int], least: int
) -> None:
    rises = inputs["CD"] and not values[own + "M"]
    values[own + "M"] = inputs["CD"]
    if inputs.get("LD"):
        values[own + "CV"] = inputs["PV"]
    elif rises and values[own + "CV"] > least:
        values[own + "CV"] -= 1
    values[own + "Q"] = int(values[own + "CV"] <= 0)


def _count_both_ways(
    own: str, inputs: Mapping[str, int], values: MutableMapping[str, int], limits: tuple[int, int]
) -> None:
    up = inputs["CU"] and not values[own + "MU"]
    down = inputs["CD"] and not values[own + "MD"]
    values[own + "MU"], values[own + "MD"] = inputs["CU"], inputs["CD"]
    if inputs.get("R"):
        values[own + "CV"] = 0
    elif inputs.get("LD"):
        values[own + "CV"] = inputs["PV"]
    elif up and not down and values[own + "CV"] < limits[1]:
        values[own + "CV"] += 1
    elif down and not up and values[own + "CV"] > limits[0]:
        values[own + "CV"] -= 1
    values[own + "QU"] = int(values[own + "CV"] >= inputs["PV"])
    values[own + "QD"] = int(values[own + "CV"] <= 0)


class _Timer:
    """One call of a timer: what it was, what it becomes.

    Parameters
    ----------
    preset_ms : int or None
        The preset time that the call gives, where it varies.
    """

    def __init__(
        self,
        instance: ty.Instance,
        values: MutableMapping[str, int],
        settings: Settings,
        preset_ms: int | None,
    ) -> None:
        self._block = instance.block
        self._values = values
        self._own = f"{PREFIX}{instance.name}."
        self._place = position_name(instance, settings)
        self._top = top_of(instance, settings)
        self._scan_ms = settings.scan_ms
        self._shows_time = settings.timers is Timers.COUNTED
        self._preset_ms = None if preset_ms is None else max(preset_ms, 0)
        if self._preset_ms is not None:
            scans = -(-self._preset_ms // settings.scan_ms)
            self._top = scans if self._shows_time else min(self._preset_ms, 1)

    def call(self, on: bool) -> None:
        match self._block:
            case "TON":
                self._on_delay(on)
            case "TOF":
                self._off_delay(on)
            case _:
                self._pulse(on)

    def _become(self, running: bool, position: int, output: bool, shown: int) -> None:
        self._values[self._own + "running"] = int(running)
        self._values[self._place] = position
        self._values[self._own + "Q"] = int(output)
        if self._shows_time:
            self._values[self._own + "ET"] = shown

    def _time(self, position: int) -> int:
        """What ET shows at a position: scans, or milliseconds where the preset time varies."""
        if self._preset_ms is None:
            return position
        return min(position * self._scan_ms, self._preset_ms)

    @property
    def _running(self) -> bool:
        return bool(self._values[self._own + "running"])

    def _on_delay(self, on: bool) -> None:
        if not on:
            self._become(False, 0, False, 0)
            return
        position = self._values[self._place] if self._running else 0
        self._become(True, position, position >= self._top, self._time(position))

    def _off_delay(self, on: bool) -> None:
        if on:
            self._become(False, 0, True, 0)
        elif not self._values[self._own + "Q"]:
            # The time shown stays until IN comes again.
            self._become(False, 0, False, self._values.get(self._own + "ET", 0))
        else:
            position = self._values[self._place] if self._running else 0
            if position >= self._top:
                self._become(False, 0, False, self._time(self._top))
            else:
                self._become(True, position, True, self._time(position))

    def _pulse(self, on: bool) -> None:
        position = self._values[self._place]
        if not self._running:
            # Where the pulse has ended and IN has stayed, the position stays, too.
            is_spent = position > 0 and (self._preset_ms is not None or position == self._top)
            if not on:
                self._become(False, 0, False, 0)
                return
            if is_spent:
                self._become(False, self._mark, False, self._time(self._top))
                return
            position = 0
        if position < self._top:
            self._become(True, position, True, self._time(position))
        else:
            left = self._mark if on else 0
            self._become(False, left, False, self._time(self._top) if on else 0)

    @property
    def _mark(self) -> int:
        """What tells that the pulse is over; a time that varies may be 0 just now."""
        return self._top if self._preset_ms is None else max(self._top, 1)
