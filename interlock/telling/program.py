"""What a verdict about a program rests on: what was free, what was left out, what it remembers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from interlock.base.errors import Place
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.system import System
from interlock.model.model import Delay, Model
from interlock.st.layout import Timers, lay_out
from interlock.telling.counts import counted

_TIMERS = ("TON", "TOF", "TP")


@dataclass(frozen=True)
class FreeInputTold:
    """An input that may have any value in any scan.

    Attributes
    ----------
    name : str
    values : tuple of str
        The values that were tried, each with those that it stands for.
    """

    name: str
    values: tuple[str, ...]


@dataclass(frozen=True)
class Left:
    """Something that was read over, left out or taken to be so, with its place."""

    place: Place
    says: str

    def __str__(self) -> str:
        return f"{self.place}: {self.says}"


def between_told(model: Model) -> str:
    """What is taken to happen between two scans, and whether the model says something else."""
    declared = model.declared_between_scans
    other = "" if declared is None else f", assumed in place of '{declared}', which the model says"
    timed = "" if model.timing is None else f"; {model.timing.says}"
    told = other + timed + _interrupted_told(model) + _quantities_told(model) + _ages_told(model)
    return model.between_scans.says + told + _controllers_told(model)


def _interrupted_told(model: Model) -> str:
    """What becomes of what is interrupted; empty without time, and where nothing takes any."""
    # What a quantity takes follows from its rates, wherever it turns round.
    machines = {name for name, machine in model.machines.items() if machine.bands is None}
    owed = [m for m in model.moves if m.takes is not None and m.machine in machines]
    if model.timing is None or not owed:
        return ""
    going = {m.machine: None for m in owed if m.takes is not None and m.takes.goes_on}
    others = any(m.takes is not None and not m.takes.goes_on for m in owed)
    again = "what is interrupted starts again" if others else ""
    if not going:
        return f"; {again}"
    on = f"what of {', '.join(going)} is interrupted goes on, each piece for up to a unit longer"
    return f"; {on}, {again.replace('what is', 'what else is')}" if others else f"; {on}"


def _quantities_told(model: Model) -> str:
    """What is known of quantities of the plant; empty where there are none."""
    names = ", ".join(quantity.name for quantity in model.quantities)
    if not names:
        return ""
    if model.timing is None:
        return f"; how fast {names} may change decides nothing without time"
    return (
        f"; of {names} no more is known than between which steps it is and since when, so what "
        "turns round between two steps may be anywhere between them; more steps are sharper"
    )


def _controllers_told(model: Model) -> str:
    """How several controllers scan; empty where there is only one."""
    if not model.several:
        return ""
    names = " and ".join(one.name for one in model.several)
    often = "any number of times" if model.timing is None else "in any phase to each other"
    told = f"; {names} scan in any order, {often}, each with a memory of its own, "
    waiting = [one.name for one in model.several if one.scans_while is not None]
    told += "and each goes on for ever"
    told += f" while it scans at all ({', '.join(waiting)})" if waiting else ""
    return told + "; a scan takes no time but for signals that may be late"


def _ages_told(model: Model) -> str:
    """How old the values are that a scan may read; empty where it reads what is."""
    alike: dict[tuple[str, str], list[str]] = {}
    for sensor in model.late_sensors:
        late = counted(sensor.age, "scan") if sensor.age else _delay_told(model, sensor.delay)
        alike.setdefault((late, sensor.bus), []).append(sensor.name)
    told = [
        f"{', '.join(names)} up to {late}{f' by {bus}' if bus else ''}"
        for (late, bus), names in alike.items()
    ]
    if any(sensor.delay is not None and sensor.delay.in_scans for sensor in model.late_sensors):
        told.append(
            "filters have settled before the first scan, and that something can happen is told for "
            "values that come at once"
        )
    signals = f"; signals may be late: {'; '.join([*told, *_losses_told(model)])}" if told else ""
    delays: dict[str, list[str]] = {}
    for output in model.delayed_outputs:
        delays.setdefault(_delay_told(model, output.delay), []).append(output.name)
    outputs = "; ".join(f"{', '.join(names)} up to {late}" for late, names in delays.items())
    if not outputs:
        return signals
    effects = f"; outputs take effect later, each on its own: {outputs}; what changes again before "
    return f"{signals}{effects}that may take effect late, more than once or not at all"


def _delay_told(model: Model, delay: Delay | None) -> str:
    """A delay as it is counted in time."""
    if delay is None or model.timing is None:
        return ""
    counts = model.timing.units_of_delay(delay.ms) * model.timing.unit_ms
    return f"{delay.ms:g} ms" + ("" if counts == delay.ms else f" (counted as {counts} ms)")


def _losses_told(model: Model) -> Iterator[str]:
    """Which fault freezes what of the late signals, and which signal tells of it."""
    late = {sensor.name for sensor in model.late_sensors}
    for fault in model.live_faults:
        frozen = [e.name for e in fault.effects if e.kind.holds and e.name in late]
        flag = f"NOT {fault.id}".casefold()
        flags = [n for n, s in model.sensors.items() if s.reads.text.strip().casefold() == flag]
        if frozen:
            verb = "freezes" if len(frozen) == 1 else "freeze"
            tells = (
                f" and {', '.join(flags)} tells of it" if flags else " and no signal tells of it"
            )
            yield f"where the fault {fault.id} strikes, {', '.join(frozen)} {verb}{tells}"


def between_data(model: Model) -> dict[str, Any]:
    """The same as data."""
    timed = {} if model.timing is None else {"time": str(model.timing)}
    ages = {sensor.name: sensor.age for sensor in model.late_sensors if sensor.age}
    late = [sensor for sensor in model.late_sensors if not sensor.age]
    delays = {sensor.name: sensor.delay.ms for sensor in late if sensor.delay}
    delays |= {output.name: output.delay.ms for output in model.delayed_outputs if output.delay}
    return {
        **timed,
        **({"ages_in_scans": ages} if ages else {}),
        **({"delays_in_ms": delays} if delays else {}),
        **({"controllers": [one.name for one in model.several]} if model.several else {}),
        "between_scans": str(model.between_scans),
        "between_scans_of_the_model": str(model.declared_between_scans or model.between_scans),
    }


def free_inputs_of(model: Model) -> list[FreeInputTold]:
    """The inputs that no sensor was given for, in the order of the program."""
    machines = {machine.name: machine for machine in model.machines.values() if machine.is_free}
    return [
        FreeInputTold(machine.name.removesuffix(" (free)"), machine.states)
        for machine in machines.values()
    ]


def left_out_of(model: Model) -> list[Left]:
    """What of the program's files was read over, left out or taken to be so."""
    projects = [one.project for one in model.controllers if one.project is not None]
    notes = [Left(note.place, note.says) for project in projects for note in project.notes]
    return [*_any_order_of_timers(model), *notes]


def _any_order_of_timers(model: Model) -> Iterator[Left]:
    """That timers which end at any moment may end in an order that their preset times rule out.

    What holds in every order holds in theirs. That something can be reached is no such thing.
    """
    if model.timing is not None:
        return
    free = [one for one in model.controllers if one.settings.timers is Timers.FREE]
    timers = [i for one in free for i in one.program.instances if i.block in _TIMERS]
    reaching = [id_ for id_, s in model.statements.items() if not PATTERNS[s.pattern].is_of_runs]
    if len(timers) > 1 and reaching:
        asks = "asks" if len(reaching) == 1 else "ask"
        says = (
            "timers end at any moment and in any order, whatever their preset times; the way that "
            f"{', '.join(reaching)} {asks} for may need an order that those rule out ('run: time' "
            "keeps to them)"
        )
        yield Left(timers[1].place, says)


def remembered_by(model: Model, system: System) -> list[tuple[str, int]]:
    """What the program remembers from scan to scan in a system, with the values of each."""
    changed = {name for move in system.moves for name in move.updates}
    kept = {variable.name for variable in system.variables} & changed
    memory = [
        (one.variable(v.name), v.domain.size)
        for one in model.controllers
        for v in lay_out(one.program, one.settings).variables
    ]
    return [(name.removeprefix("plc."), size) for name, size in memory if name in kept]


def bits_of(remembered: list[tuple[str, int]]) -> int:
    """How many bits hold it, each variable by itself."""
    return sum((size - 1).bit_length() for _, size in remembered)
