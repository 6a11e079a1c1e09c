"""The landing gear with its times: what is allowed, what is taken, and what misses it by one unit.

Source of the case: F. Boniol and V. Wiels, "The Landing Gear System Case Study", ABZ 2014,
CCIS 433.
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
# Without the watch over the whole manoeuvre there are nine times fewer states.
NO_WATCH = (
    (" OR late_down.Q OR late_up.Q", ""),
    ("late_down(IN := handle_down AND NOT gears_down, PT := T#15s);", ""),
    ("late_up(IN := NOT handle_down AND relaxed AND NOT gears_up, PT := T#15s);", ""),
    ("late_down, late_up : TON;", ""),
)
DOWN = "gears_down AND doors_closed OR handle = UP"
UP = "OR handle = DOWN OR wheels = grounded"
# By requirement: the timers that it rests on, their seconds, and a jam that puts it to the test. A
# door that stays closed does not come open either, so R61 rests on the watch of R71 as well.
WATCHES = {
    "R61": (("right_closed), PT := ", "NOT doors_open, PT := "), 7, "J1"),
    "R62": (("right_open), PT := ", "NOT doors_closed, PT := "), 7, "J2"),
    "R63": (("right_down), PT := ",), 7, "J4"),
    "R64": (("right_up), PT := ",), 7, "J5"),
    "R71": (("NOT doors_open, PT := ",), 7, "J3"),
    "R72": (("NOT doors_closed, PT := ",), 7, "J3"),
    "R73": (("NOT gears_up, PT := ",), 10, "J6"),
    "R74": (("NOT gears_down, PT := ",), 10, "J6"),
}


def judged(
    folder: Path, ids: list[str], *changes: tuple[str, str], run_class: RunClass = FAULT_FREE
) -> dict[str, Finding]:
    """What becomes of some requirements, with texts of model and program replaced."""
    for name in ("landing-gear-untimed", "landing-gear-timed"):
        shutil.copytree(MODELS / name, folder / name)
    for old, new in (*NO_WATCH, *changes):
        files = [folder / "landing-gear-timed" / n for n in ("model.yaml", "controller.st")]
        texts = [file.read_text("utf-8") for file in files]
        assert any(old in text for text in texts), old
        for file, text in zip(files, texts, strict=True):
            file.write_text(text.replace(old, new), "utf-8")
    model = load(folder / "landing-gear-timed")
    findings = verify(model, catalogue()["enumerate"](), run_class, only=ids).findings
    return {f.requirement.id: f for f in findings if f.requirement.id in ids}


def test_a_manoeuvre_takes_ten_of_fifteen_seconds(tmp_path: Path) -> None:
    found = judged(tmp_path, ["R11", "R12"])
    assert {finding.outcome for finding in found.values()} == {HOLDS}
    taken = {id_: f.margin.taken_ms for id_, f in found.items() if f.margin is not None}
    assert taken == {"R11": 9_600, "R12": 10_100}


def test_a_bound_that_is_one_unit_less_than_is_taken_is_missed(tmp_path: Path) -> None:
    down = (f"{DOWN}, within: 15 s", f"{DOWN}, within: 9.5 s")
    up = (f"{UP}, within: 15 s", f"{UP}, within: 10 s")
    found = judged(tmp_path, ["R11", "R12"], down, up)
    assert {finding.outcome for finding in found.values()} == {VIOLATED}


@pytest.mark.slow
@pytest.mark.parametrize("id_", WATCHES)
def test_a_watch_that_is_one_unit_late_misses_its_bound(id_: str, tmp_path: Path) -> None:
    timers, seconds, jam = WATCHES[id_]
    jammed = RunClass((jam,), 1)
    in_time = judged(tmp_path / "in time", [id_], run_class=jammed)[id_]
    assert in_time.outcome is HOLDS
    assert in_time.margin is not None
    assert in_time.margin.taken_ms == 1000 * seconds + 100
    late = [(f"{one}T#{seconds}s", f"{one}T#{1000 * seconds + 100}ms") for one in timers]
    too_late = judged(tmp_path / "late", [id_], *late, run_class=jammed)[id_]
    assert too_late.outcome is VIOLATED
