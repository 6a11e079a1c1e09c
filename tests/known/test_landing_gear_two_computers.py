"""The landing gear with its two computers: what its pauses rest on, and what misses them by a unit.

Source of the case and of the pauses: F. Boniol and V. Wiels, "The Landing Gear System Case Study",
ABZ 2014, CCIS 433. The program is ours; what of its waits is needed follows from arithmetic: the
other computer may give up its order a scan of 100 ms later.
"""

from __future__ import annotations

import shutil
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
PAUSES = ["N1", "N2", "N3", "N4", "N5", "R41", "R42"]
DOORS = "opening = was_opening, PT := "
GEARS = "extending = was_extending, PT := "
HANDLE = "[0.5, 0.5], assumed: true, says: sets"
WHEELS = "[0.5, 0.5], assumed: true, says: t"


def judged(
    folder: Path, ids: list[str], *changes: tuple[str, str], run_class: RunClass = FAULT_FREE
) -> dict[str, Finding]:
    """What becomes of some requirements, with texts of model and program replaced."""
    for name in ("landing-gear-untimed", "landing-gear-timed", "landing-gear-two-computers"):
        shutil.copytree(MODELS / name, folder / name)
    own = folder / "landing-gear-two-computers"
    for old, new in changes:
        files = [own / name for name in ("model.yaml", "controller.st")]
        texts = [file.read_text("utf-8") for file in files]
        assert any(old in text for text in texts), old
        for file, text in zip(files, texts, strict=True):
            file.write_text(text.replace(old, new), "utf-8")
    findings = verify(load(own), catalogue()["enumerate"](), run_class, only=ids).findings
    return {f.requirement.id: f for f in findings if f.requirement.id in ids}


def _violated(found: dict[str, Finding]) -> set[str]:
    assert {finding.outcome for finding in found.values()} <= {HOLDS, VIOLATED}
    return {id_ for id_, finding in found.items() if finding.outcome is VIOLATED}


def test_the_pauses_are_kept_and_no_longer_than_is_asked(tmp_path: Path) -> None:
    found = judged(tmp_path, PAUSES)
    assert not _violated(found)
    taken = {id_: f.margin.taken_ms for id_, f in found.items() if f.margin is not None}
    assert taken == {"N1": 200, "N2": 100, "N3": 100, "N4": 100, "N5": 100}


def test_a_pause_of_each_is_no_pause_of_both(tmp_path: Path) -> None:
    # 100 ms by each computer, of which the other's scan takes 100 ms away.
    found = judged(tmp_path, PAUSES, (f"{DOORS}T#200ms", f"{DOORS}T#100ms"))
    assert _violated(found) == {"N1", "N2", "N3", "R41"}


@pytest.mark.slow
def test_nor_is_it_of_the_gears(tmp_path: Path) -> None:
    found = judged(tmp_path, PAUSES, (f"{GEARS}T#200ms", f"{GEARS}T#100ms"))
    assert _violated(found) == {"N4", "N5", "R42"}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("what", "seconds", "expected"),
    [
        (HANDLE, 0.4, set()),
        (HANDLE, 0.3, {"N3", "R41"}),
        (WHEELS, 0.3, set()),
        (WHEELS, 0.2, {"N3", "R41"}),
    ],
)
def test_what_comes_and_goes_faster_is_seen_by_one_computer_alone(
    tmp_path: Path, what: str, seconds: float, expected: set[str]
) -> None:
    faster = what.replace("[0.5, 0.5]", f"[{seconds}, {seconds}]")
    assert _violated(judged(tmp_path, PAUSES, (what, faster))) == expected


@pytest.mark.slow
@pytest.mark.parametrize("dead", ["C1", "C2"])
def test_a_manoeuvre_takes_eleven_of_fifteen_seconds_with_either_computer_dead(
    tmp_path: Path, dead: str
) -> None:
    found = judged(tmp_path, ["R11", "R12"], run_class=RunClass((dead,), 1))
    assert not _violated(found)
    taken = {id_: f.margin.taken_ms for id_, f in found.items() if f.margin is not None}
    assert taken == {"R11": 10_300, "R12": 10_700}


@pytest.mark.slow
def test_a_bound_that_is_one_unit_less_than_is_taken_is_missed(tmp_path: Path) -> None:
    down = "leads_to: gears_down AND doors_closed OR handle = UP, within: "
    up = "OR handle = DOWN OR wheels = grounded, within: "
    less = (f"{down}15 s", f"{down}10.2 s"), (f"{up}15 s", f"{up}10.6 s")
    found = judged(tmp_path, ["R11", "R12"], *less)
    assert _violated(found) == {"R11", "R12"}


@pytest.mark.slow
def test_orders_of_one_computer_outlast_the_handle_by_a_scan(tmp_path: Path) -> None:
    found = judged(tmp_path, ["R21", "R22"], ("at_most: 100 ms", "at_most: 0 ms"))
    assert _violated(found) == {"R21", "R22"}
