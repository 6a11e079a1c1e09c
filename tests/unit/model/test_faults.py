"""What is taken as a fault, and what is told of one that does not make sense."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.model.fault import Effect, Fault
from interlock.model.fault_kinds import BY_VALUE, STUCK_FALSE, STUCK_TRUE, Site, kinds_at
from tests.support.gate import gate


def fault(folder: Path, text: str) -> Fault:
    """The gate's own faults and F9."""
    return gate(folder, ("requirements:", f"  F9: {{{text}}}\nrequirements:")).faults["F9"]


def test_a_jam_holds_in_the_states_that_are_named(tmp_path: Path) -> None:
    (jams,) = kinds_at(Site.MACHINE)
    limited = fault(tmp_path, "says: x, machine: gate, jams_in: [open, Between]")
    assert limited.effects == (Effect(jams, Site.MACHINE, "gate", (2, 1)),)
    assert fault(tmp_path, "says: x, machine: gate").effects == (
        Effect(jams, Site.MACHINE, "gate"),
    )


def test_a_fault_may_hold_several_signals_and_outputs_however_they_are_spelled(
    tmp_path: Path,
) -> None:
    found = fault(
        tmp_path, "says: x, sensors: {SHUT: 'TRUE', pressed: frozen}, outputs: {Lamp: 'FALSE'}"
    )
    assert found.sensors == {"shut": STUCK_TRUE, "pressed": BY_VALUE["frozen"]}
    assert found.outputs == {"lamp": STUCK_FALSE}
    one = fault(tmp_path, "says: x, sensor: shut, stuck: 'FALSE', output: lamp")
    assert (one.sensors, one.outputs) == ({"shut": STUCK_FALSE}, {"lamp": STUCK_FALSE})


@pytest.mark.parametrize(
    "text",
    [
        "sensor: shut, stuck: 'TRUE'",
        "output: lamp, stuck: 'FALSE'",
        "sensors: {shut: 'TRUE'}",
        "outputs: {lamp: 'TRUE'}",
        "restart: true",
    ],
)
def test_what_holds_a_known_value_can_be_injected(tmp_path: Path, text: str) -> None:
    assert fault(tmp_path, f"says: x, injectable: true, {text}").injectable


INJECTED = "only what a fault does to signals, outputs or the supply can be injected"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("jams_in: [OPEN]", "F9: 'jams_in' needs a 'machine'"),
        ("stuck: 'TRUE'", "F9: 'stuck' needs a 'sensor' or an 'output'"),
        ("sensor: shut", "F9: 'stuck' is missing: TRUE, FALSE or frozen"),
        ("output: lamp", "F9: 'stuck' is missing: TRUE, FALSE or frozen"),
        (
            "restart: true, rate: 1e-6, probability: 0.1, assumed: true",
            "F9: give a 'rate' or a 'probability', not both",
        ),
        ("restart: true, rate: 1e-6", "F9: a figure needs its 'source', or 'assumed: true'"),
        ("restart: true, probability: 0.1", "F9: a figure needs its 'source', or"),
        ("injectable: true, sensor: shut, stuck: frozen", f"F9: {INJECTED}"),
        ("injectable: true, sensors: {shut: 'TRUE', pressed: frozen}", f"F9: {INJECTED}"),
        ("injectable: true, machine: gate", f"F9: {INJECTED}"),
        ("machine: gate, jams_in: [OPN]", "'OPN' is not a state; did you mean 'OPEN'?"),
        ("sensors: {shot: 'TRUE', pressed: frozen}", "'shot' is not a sensor; did you mean"),
    ],
)
def test_what_makes_no_sense_is_told(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(InputError) as told:
        fault(tmp_path, f"says: x, {text}")
    assert says in str(told.value)


def test_a_kind_that_never_clears_cannot_be_intermittent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(BY_VALUE, "FALSE", replace(STUCK_FALSE, may_clear=False))
    assert fault(tmp_path / "stays", "says: x, sensor: shut, stuck: 'FALSE'").effects
    with pytest.raises(InputError) as told:
        fault(tmp_path / "clears", "says: x, sensor: shut, stuck: 'FALSE', intermittent: true")
    assert "F9: what is called 'stuck at FALSE' never clears by itself" in str(told.value)
