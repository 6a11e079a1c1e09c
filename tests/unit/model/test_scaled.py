"""Analogue inputs: a quantity is parted where the program's number goes over into another class."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.build import RunClass
from interlock.model.model import Model
from tests.support.vessel import vessel

UNIT = ("unit: 100 ms", "unit: 1 s"), ("scan_ms: 100", "scan_ms: 1000")
FAULTS = ("controls:\n", "faults: {W: {says: the wire breaks}, D: {says: it drifts}}\ncontrols:\n")


def scaled(
    folder: Path, type_: str, condition: str, more: str = "", *changes: tuple[str, str]
) -> Model:
    """4 to 20 mA are 0 to 20 bar, and 5530 to 27648 counts of 0 to 20 mA."""
    sensor = f"{{reads: pressure, scaled: {{range: [0, 20], counts: [5530, 27648]{more}}}}}"
    return vessel(
        folder,
        ("sensors:\n", f"sensors:\n  raw: {sensor}\n"),
        ("pumps : BOOL;", f"pumps : BOOL; raw : {type_};"),
        ("lamp := pumps;", f"lamp := {condition};"),
        *UNIT,
        *changes,
    )


def holds(model: Model, id_: str = "R1", faults: tuple[str, ...] = ()) -> bool:
    run_class = RunClass(faults, len(faults))
    findings = verify(model, catalogue()["enumerate"](), run_class, only=[id_]).findings
    outcome = next(f.outcome for f in findings if f.requirement.id == id_)
    assert outcome is not Outcome.UNDECIDED
    return outcome is Outcome.HOLDS


def asked(text: str) -> tuple[str, str]:
    return ("always: lamp OR NOT lamp", text)


@pytest.mark.parametrize("type_", ["INT", "DINT", "UINT", "WORD"])
def test_a_threshold_of_the_program_parts_the_quantity(tmp_path: Path, type_: str) -> None:
    threshold = "21013" if type_ != "WORD" else "WORD#21013"
    model = scaled(tmp_path, type_, f"raw >= {threshold}")
    # 14 bar are 5530 + 14 * 22118 / 20 = 21012.6 counts, so 21013 are 14.00036 bar.
    assert model.machines["pressure"].states == (
        "0 bar", "0 to 14.0004 bar", "14.0004 to 20 bar", "20 bar",
    )  # fmt: skip


def test_the_program_sees_both_sides_of_its_threshold(tmp_path: Path) -> None:
    for text, expected in (
        ("when: lamp, always: pressure > 13.9, judged: after scan", True),
        ("when: pressure >= 14.1, always: lamp, judged: after scan", True),
        ("when: lamp, always: pressure > 14.1, judged: after scan", False),
        ("when: pressure >= 13.9, always: lamp, judged: after scan", False),
    ):
        model = scaled(tmp_path, "INT", "raw >= 21013", "", asked(text))
        assert holds(model) is expected, text


def test_what_is_scaled_to_a_real_is_parted_there(tmp_path: Path) -> None:
    condition = "(INT_TO_REAL(raw) - 5530.0) * 20.0 / 22118.0 >= 14.0"
    edges = scaled(tmp_path, "INT", condition).machines["pressure"].states
    assert edges[1] == "0 to 14.0004 bar"


def test_an_input_of_real_is_parted_at_its_own_numbers(tmp_path: Path) -> None:
    sensor = "{reads: pressure, scaled: {range: [0, 20], counts: [4.0, 20.0]}}"
    model = vessel(
        tmp_path,
        ("sensors:\n", f"sensors:\n  mA: {sensor}\n"),
        ("pumps : BOOL;", "pumps : BOOL; mA : REAL;"),
        ("lamp := pumps;", "lamp := mA > 12.0;"),
        asked("when: pressure >= 10.1, always: lamp, judged: after scan"),
        *UNIT,
    )
    assert model.machines["pressure"].states[1] == "0 to 10 bar"
    assert holds(model)


def test_a_falling_scale_is_parted_as_well(tmp_path: Path) -> None:
    """Counts that fall as the pressure rises: 100 - 5 * 12 = 40."""
    sensor = "{reads: pressure, scaled: {range: [0, 20], counts: [100, 0]}}"
    model = vessel(
        tmp_path,
        ("sensors:\n", f"sensors:\n  raw: {sensor}\n"),
        ("pumps : BOOL;", "pumps : BOOL; raw : INT;"),
        ("lamp := pumps;", "lamp := raw < 40;"),
        asked("when: pressure > 12, always: lamp, judged: after scan"),
        *UNIT,
    )
    assert model.machines["pressure"].states[1] == "0 to 12 bar"
    assert holds(model)


def test_a_broken_wire_is_read_as_below_the_range(tmp_path: Path) -> None:
    broken = ", lost: {W: 0}"
    told = asked("never: lamp, judged: after scan")
    model = scaled(tmp_path, "INT", "raw < 5000", broken, FAULTS, told)
    assert holds(model)
    assert not holds(model, faults=("W",))


def test_drift_shifts_where_it_is_parted(tmp_path: Path) -> None:
    """1106 counts are 1.0001 bar: with the drift the lamp is on one bar too early."""
    shifted = ", shifted: {D: 1106}"
    ask = asked("when: lamp, always: pressure > 13.5, judged: after scan")
    model = scaled(tmp_path, "INT", "raw >= 21013", shifted, FAULTS, ask)
    assert "13.0003 to 13.5 bar" in model.machines["pressure"].states
    assert holds(model)
    assert not holds(model, faults=("D",))
    further = asked("when: lamp, always: pressure > 13, judged: after scan")
    assert holds(scaled(tmp_path, "INT", "raw >= 21013", shifted, FAULTS, further), faults=("D",))


@pytest.mark.parametrize(
    ("type_", "condition", "more", "says"),
    [
        ("INT", "raw > 3", ", lost: {X: 3}", "'X' is not a fault"),
        ("BOOL", "raw", "", "'raw' is no number that can be scaled"),
        ("INT", "raw MOD 3 = 0", "", "more than 64 ranges of 'raw', which is scaled"),
    ],
)
def test_what_cannot_be_scaled_is_told(
    tmp_path: Path, type_: str, condition: str, more: str, says: str
) -> None:
    with pytest.raises(InputError, match=says):
        scaled(tmp_path, type_, condition, more)


def test_what_is_compared_with_what_it_was_is_refused(tmp_path: Path) -> None:
    """A signal that never changes within a band would look frozen to the program."""
    changes = (
        ("VAR_OUTPUT lamp", "VAR old : INT; END_VAR\nVAR_OUTPUT lamp"),
        (
            "END_PROGRAM",
            "old := raw;\nEND_PROGRAM",
        ),
    )
    with pytest.raises(InputError, match="compared with what it was before"):
        scaled(tmp_path, "INT", "raw <> old", "", *changes)


def test_only_a_quantity_is_scaled(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="what is 'scaled' reads a quantity by its name"):
        scaled(tmp_path, "INT", "raw > 3", "", ("{reads: pressure,", "{reads: pump,"))
