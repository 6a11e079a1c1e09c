"""What commands make of quantities: refused by name where an answer could be wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.cli.main import run
from tests.support.vessel import vessel_folder

COARSE = ("unit: 100 ms", "unit: 1 s"), ("scan_ms: 100", "scan_ms: 1000")
REACHES = ("always: lamp OR NOT lamp", "can_still: pressure >= 14")
# They judge apart from 'verify', which leaves it undecided.
REFUSING = {
    "faults": ["faults", "MODEL"],
    "margins": ["margins", "MODEL"],
    "compare": ["compare", "MODEL", "MODEL"],
    "draw": ["draw", "MODEL"],
    "report": ["report", "MODEL"],
    "--evidence": ["verify", "MODEL", "--evidence", "evidence"],
}


@pytest.mark.parametrize("name", REFUSING)
def test_what_can_be_reached_in_time_is_asked_of_verify_alone(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    fault = ("controls:\n", "faults: {W: {says: something breaks}}\ncontrols:\n")
    model = vessel_folder(tmp_path / "model", REACHES, fault, *COARSE)
    words = (str(model) if word == "MODEL" else word for word in REFUSING[name])
    assert run(list(words)) == 2
    said = capsys.readouterr().err
    assert f"'{name}" in said
    assert "cannot take 'can_still' of a model with time and quantities" in said
    assert "model.yaml:" in said


def test_without_time_it_is_asked_of_anybody(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    model = vessel_folder(tmp_path / "model", REACHES, (", time: {unit: 100 ms}", ""))
    assert run(["faults", str(model)]) == 0


def test_a_state_chart_has_no_quantities(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    model = vessel_folder(tmp_path, (", time: {unit: 100 ms}", ""))
    assert run(["export", str(model), "--as", "scxml"]) == 2
    assert "a state chart has no quantities" in capsys.readouterr().err
    assert run(["export", str(model), "--as", "st"]) == 0


def test_margins_say_that_rates_are_not_varied(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bound = "whenever: pump, leads_to: pressure >= 14 OR NOT pump, within: 20 s"
    model = vessel_folder(tmp_path, ("always: lamp OR NOT lamp", bound), *COARSE)
    assert run(["margins", str(model)]) == 0
    told = capsys.readouterr().out
    assert "not varied: how fast pressure may change" in told
    assert "rises" not in told


def test_what_was_asked_is_not_carried_over_to_other_steps(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The states of either model's quantity are not those of the other."""
    asks = ("always: lamp OR NOT lamp", "never: pressure >= 14")
    old = vessel_folder(tmp_path / "old", asks, *COARSE)
    new = vessel_folder(
        tmp_path / "new", ("always: lamp OR NOT lamp", "never: pressure >= 15"), *COARSE
    )
    assert run(["compare", str(old), str(new)]) in (1, 3)
    told = " ".join(capsys.readouterr().out.split())
    assert "the old statement cannot be judged on the new model: pressure is never" in told
