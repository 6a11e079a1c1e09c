"""``interlock rating``: figures, what contradicts a claim, and mistakes with their places."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.cli.main import run
from tests.support.hoist import HOIST_MODEL, HOIST_PROGRAM
from tests.support.small_models import write_model

WREN = Path(__file__).parents[4] / "models" / "wren" / "rating.yaml"
RATING = """\
title: A hoist (invented)
model: hoist
usage: {cycles: 1000}
functions:
  SF1:
    says: Never driven with the door open
    requirements: [R1]
    risk: [S2, F1, P2]
    category: '3'
    level: d
    ccf: 65
    channels:
      - [{says: contact a, b10d: 1.0e+6, per_year: cycles, dc: 0.9, source: a data sheet}]
      - [{says: contact b, mttfd: 50, dc: 0.9, assumed: true}]
"""


@pytest.fixture(autouse=True)
def in_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write_model(Path("hoist"), HOIST_MODEL, HOIST_PROGRAM)


def rating(text: str) -> str:
    Path("rating.yaml").write_text(text, encoding="utf-8")
    return "rating.yaml"


def test_a_common_cause_counts_as_a_single_fault_against_category_3(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["rating", rating(RATING), "--plain"]) == 1
    printed = capsys.readouterr().out
    assert "risk graph: PLr d; claimed: category 3, level d" in printed
    assert "inserted faults contradict it: category 3" in printed
    assert "FC loses it" in printed


def test_category_1_may_be_lost_by_a_single_fault(capsys: pytest.CaptureFixture[str]) -> None:
    text = RATING.replace("category: '3'", "category: '1'").replace("level: d", "level: c")
    lines = [line for line in text.splitlines() if "contact b" not in line]
    lines = [line.replace("[S2, F1, P2]", "[S2, F1, P1]") for line in lines]
    assert run(["rating", rating("\n".join(lines)), "--plain"]) == 0
    assert "do not contradict the category (R1)" in capsys.readouterr().out


def test_the_arithmetic_is_that_of_the_standard(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["rating", rating(RATING), "--no-model", "--plain"]) == 0
    printed = capsys.readouterr().out
    # ISO 13849-1, Annexes C and D: 1e6/(0.1·1000) = 10,000 y, capped at 100 y;
    # 2/3·(100 + 50 − 1/(1/100 + 1/50)) = 77.8 y, read in the row of 75 y: 6.62e-8/h.
    assert "MTTFd of a channel 78 years; DCavg 90% (medium)" in printed
    assert "PFHd 6.6e-8/h, in the band of e" in printed
    assert "No performance level is awarded here." in printed
    assert "not held against a model" in printed


def test_a_claim_below_what_the_risk_asks_for_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    text = RATING.replace("[S2, F1, P2]", "[S2, F2, P2]")
    assert run(["rating", rating(text), "--no-model"]) == 1
    assert "below the required one, e" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("title:", "titel:", "rating.yaml:1:1: 'titel' is not known; did you mean 'title'?"),
        ("[R1]", "[R9]", "rating.yaml:7:20: 'R9' is not a requirement of the model"),
        ("category: '3'", "category: '5'", "rating.yaml:9:15: category: input should be"),
        ("[S2, F1, P2]", "[S2, F3, P2]", "rating.yaml:8:11: risk: expected [S1 or S2"),
        ("per_year: cycles", "per_year: cycle", "'cycle' is not a usage; did you mean 'cycles'?"),
        ("mttfd: 50", "mttfd: -50", "mttfd: input should be greater than 0, found '-50'"),
        (", assumed: true", "", "a figure needs its 'source', or 'assumed: true'"),
        ("category: '3'", "category: '1'", "category 1 has 1 channel; 2 given"),
    ],
)
def test_a_mistake_is_one_line_with_its_place(
    old: str, new: str, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["rating", rating(RATING.replace(old, new, 1))]) == 2
    assert says in capsys.readouterr().err


def test_the_figures_of_wren_are_worked_out(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["rating", str(WREN), "--no-model", "--plain"]) == 0
    printed = capsys.readouterr().out
    # 2/3·(MTTFd + MTTFd − MTTFd/2) of equal channels is MTTFd itself.
    assert printed.count("MTTFd of a channel 100 years") == 3
    assert "assumed" in printed
