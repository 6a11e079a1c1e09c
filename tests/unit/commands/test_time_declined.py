"""Who cannot take time into account refuses a model with time by name, and nobody is silent."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.cli.main import COMMANDS, run
from interlock.testing.machine import machine_for
from tests.support.models import MODELS
from tests.support.timed_gate import timed_gate, timed_gate_folder

REFUSING = {
    "draw": ["draw", "MODEL", "--only", "conversions"],
    "testsheet": ["testsheet", "MODEL"],
}
# They read no model, or make one.
WITHOUT_A_MODEL = {"adopt", "doctor", "explain", "new", "schema"}
# They take time in whatever they do.
TAKING = {"challenge", "compare", "export", "faults", "margins", "rating", "recheck", "replay"}
TAKING |= {"advise", "operate", "rehearse", "report", "verify"}


def test_each_command_is_accounted_for() -> None:
    assert set(COMMANDS) == REFUSING.keys() | WITHOUT_A_MODEL | TAKING


@pytest.mark.parametrize("name", REFUSING)
def test_a_command_that_cannot_take_time_says_so(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    timed = timed_gate_folder(tmp_path / "timed")
    (tmp_path / "rating.yaml").write_text(_rating(), encoding="utf-8")
    (timed / "procedures.yaml").write_text("procedures: {}\n", encoding="utf-8")
    stand_for = {
        "MODEL": str(timed),
        "RATING": "rating.yaml",
    }
    assert run([stand_for.get(word, word) for word in REFUSING[name]]) == 2
    said = capsys.readouterr().err
    assert "model.yaml:3:" in said
    assert "does not reckon with time" in said
    assert name in said


def _rating() -> str:
    """A rating of somebody else's, for the timed model."""
    return (MODELS / "wren" / "rating.yaml").read_text("utf-8").replace("model: .", "model: timed")


def test_a_controller_of_ones_own_is_not_tried_on_it(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not reckon with time"):
        machine_for(timed_gate(tmp_path), lambda: None)
