"""What the names in formulas stand for: machines, signals, outputs and terms, as the model says."""

from __future__ import annotations

from typing import Any

from interlock.model.model import Delay, Machine, Model, Output, Sensor


def names_view(model: Model) -> dict[str, Any]:
    """Every name that a formula of the model may use, by sort."""
    machines = model.machines.values()
    return {
        "machines": [_machine(machine) for machine in machines if not machine.is_control],
        "controls": [
            _machine(machine) for machine in machines if machine.is_control and not machine.is_free
        ],
        "signals": [
            (
                *(sensor.name, sensor.says, sensor.reads.text, sensor.pair or ""),
                *(_delay(sensor.delay), _wired(sensor)),
            )
            for sensor in model.sensors.values()
        ],
        "outputs": [
            (o.name, o.says, _shown(o), _delay(o.delay), _wired(o)) for o in model.outputs.values()
        ],
        "wired": any(map(_wired, _signals_of(model))),
        "terms": [(name, formula.text) for name, formula in model.terms.items()],
    }


def _machine(machine: Machine) -> tuple[str, str, tuple[str, ...], str]:
    return machine.name, machine.says, machine.states, machine.states[machine.initial]


def _shown(output: Output) -> str:
    ways = [f"{output.lamp} lamp"] if output.lamp is not None else []
    ways += ["sounds"] if output.sounds else []
    return ", ".join(ways)


def _signals_of(model: Model) -> list[Sensor | Output]:
    return [*model.sensors.values(), *model.outputs.values()]


def _wired(one: Sensor | Output) -> str:
    """Address and terminal."""
    return ", ".join(word for word in (one.address, one.terminal) if word)


def _delay(delay: Delay | None) -> str:
    if delay is None:
        return ""
    words = [f"{delay.ms:g} ms", delay.source or "", "assumed" if delay.assumed else ""]
    return ", ".join(word for word in words if word)
