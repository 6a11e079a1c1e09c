"""The landing gear's switch, pressure and vote: what holds, and what misses its bound by one unit.

Source of the case: F. Boniol and V. Wiels, "The Landing Gear System Case Study", ABZ 2014,
CCIS 433. Times of the switch and of the watches from there, rates of the pressure assumed.
"""

from __future__ import annotations

import shutil
from itertools import combinations
from pathlib import Path

import pytest

from interlock.engines import catalogue
from interlock.judgement.finding import Finding
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.build import FAULT_FREE, RunClass
from interlock.model.load import load
from tests.support.models import MODELS

HOLDS, VIOLATED = Outcome.HOLDS, Outcome.VIOLATED


def judged(
    folder: Path, name: str, id_: str, *changes: tuple[str, str], faults: tuple[str, ...] = ()
) -> Finding:
    """What becomes of a requirement, with texts of model and program replaced."""
    shutil.copytree(MODELS / name, folder / name)
    for old, new in changes:
        files = [folder / name / n for n in ("model.yaml", "controller.st")]
        texts = [file.read_text("utf-8") for file in files]
        assert any(old in text for text in texts), old
        for file, text in zip(files, texts, strict=True):
            file.write_text(text.replace(old, new), "utf-8")
    run_class = RunClass(faults, 1) if faults else FAULT_FREE
    model = load(folder / name)
    findings = verify(model, catalogue()["enumerate"](), run_class, only=[id_]).findings
    return next(f for f in findings if f.requirement.id == id_)


@pytest.mark.parametrize("name", ["switch", "pressure", "vote"])
def test_what_is_asked_is_kept(name: str) -> None:
    verification = verify(load(MODELS / f"landing-gear-{name}"), catalogue()["enumerate"]())
    assert {f.requirement.id: f.outcome for f in verification.findings} == {
        f.requirement.id: HOLDS for f in verification.findings
    }


# By requirement: its model, the fault that puts it to the test, what it takes in milliseconds, and
# what makes it miss its bound by a unit of time.
PARTS = [
    ("A1", "switch", (), 800, ("within: 0.8 s", "within: 0.7 s")),
    ("A2", "switch", (), 21_200, ("DOWN, at_most: 21.2 s", "DOWN, at_most: 21.1 s")),
    ("A2up", "switch", (), 21_200, ("[20, 20]", "[20, 20.1]")),
    ("W1", "switch", ("F1",), 1_100, ("T#1s", "T#1100ms")),
    ("W2", "switch", ("F2",), 21_800, ("T#21500ms", "T#21600ms")),
    ("P1", "pressure", (), 1_500, ("[100, 200]", "[99, 200]")),
    ("W1", "pressure", ("F1",), 2_100, ("T#2s", "T#2100ms")),
    ("W2", "pressure", ("F2",), 10_100, ("T#10s", "T#10100ms")),
]


@pytest.mark.parametrize(("id_", "name", "faults", "taken_ms", "change"), PARTS)
def test_each_bound_is_missed_by_one_unit(
    tmp_path: Path,
    id_: str,
    name: str,
    faults: tuple[str, ...],
    taken_ms: int,
    change: tuple[str, str],
) -> None:
    folder = f"landing-gear-{name}"
    kept = judged(tmp_path / "kept", folder, id_, faults=faults)
    assert kept.outcome is HOLDS
    assert kept.margin is not None
    assert kept.margin.taken_ms == taken_ms
    assert judged(tmp_path / "missed", folder, id_, change, faults=faults).outcome is VIOLATED


@pytest.mark.parametrize(
    "change",
    [
        # A watch that leaves no time for what is right lights the lamp without a failure.
        ("T#1s", "T#600ms"),
        ("T#21500ms", "T#21s"),
    ],
)
def test_a_watch_over_the_switch_may_not_come_too_soon(
    tmp_path: Path, change: tuple[str, str]
) -> None:
    assert judged(tmp_path, "landing-gear-switch", "L1", change).outcome is VIOLATED


CHANNELS = ["A", "B", "C"]


@pytest.mark.parametrize("pair", list(combinations(CHANNELS, 2)))
def test_two_channels_that_stick_alike_outvote_the_third(pair: tuple[str, str]) -> None:
    model, engine = load(MODELS / "landing-gear-vote"), catalogue()["enumerate"]()
    both = tuple(f"{channel}1" for channel in pair)
    for at_most, outcome in ((1, HOLDS), (2, VIOLATED)):
        (found,) = (
            f
            for f in verify(model, engine, RunClass(both, at_most), only=["V1"]).findings
            if f.requirement.id == "V1"
        )
        assert found.outcome is outcome


def test_without_a_vote_one_channel_is_enough(tmp_path: Path) -> None:
    one = ("value := SEL(out_a, a AND b OR a AND c OR b AND c, b);", "value := a;")
    told = judged(tmp_path, "landing-gear-vote", "V1", one, faults=("A1",))
    assert told.outcome is VIOLATED
