"""Wren's transfer in time: what is allowed, what is taken, and what misses it by one unit.

Invented, like Wren; what stands against its figures is arithmetic on the durations of the model.
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
FOLDER = MODELS / "wren-transfer-timed"
# A crew that does what the procedure says, or lets go: a ninth of the states. It does less than the
# whole one, so what it violates is violated by the whole one, too.
DOCILE = (
    ("[STEP, NONE, ARM, FWD, LIFT, LOWER]", "[STEP, NONE]"),
    *((f"hand = {button} OR ", "") for button in ("ARM", "FWD", "LIFT", "LOWER")),
)


def judged(
    folder: Path,
    ids: list[str],
    *changes: tuple[str, str],
    run_class: RunClass = FAULT_FREE,
) -> dict[str, Finding]:
    """What becomes of some requirements, with texts of model and program replaced."""
    shutil.copytree(FOLDER, folder, dirs_exist_ok=True)
    for old, new in changes:
        files = [folder / name for name in ("model.yaml", "controller.st")]
        texts = [file.read_text("utf-8") for file in files]
        assert sum(text.count(old) for text in texts) == 1, old
        for file, text in zip(files, texts, strict=True):
            file.write_text(text.replace(old, new), "utf-8")
    findings = verify(load(folder), catalogue()["enumerate"](), run_class, only=ids).findings
    return {f.requirement.id: f for f in findings if f.requirement.id in ids}


def test_the_procedure_is_over_in_time_and_nothing_trips(tmp_path: Path) -> None:
    """The search finds what the greatest durations add up to, and scans, oil and pins beside it.

    On foot 90 + 60 + 60 + 15 + 30 + 5 + 30 + 5 + 30 = 325 s, and motions 1.5 + 3 + 29 + 18 for the
    rails of the trailer, 2 + 16 twice for the lift, 1.5 + 5 + 40 + 0.8 for those of the chassis,
    after four horns of 2 s, and four times up to 5 s until it is seen: 487.8 s.
    """
    ids = ["T01", "T05", "T10", "T12"]
    found = judged(tmp_path, ids, *DOCILE)
    assert {finding.outcome for finding in found.values()} == {HOLDS}
    margin = found["T10"].margin
    assert margin is not None
    assert 487_800 < margin.taken_ms == 499_500


FILTER = "xfer_a: {reads: slide = XFER, pair: xfer_b, delay_ms: "


@pytest.mark.parametrize(("ms", "expected"), [(500, HOLDS), (501, VIOLATED)])
def test_the_filter_of_the_limit_may_delay_it_by_a_unit_at_most(
    tmp_path: Path, ms: int, expected: Outcome
) -> None:
    """With the other limit stuck, filter, scan and oil come before the room stands.

    A unit of 0.5 s each is 1.5 s, and creeping over the station takes 2 s at least. At 2 s of each
    either may come first.
    """
    slower = (f"{FILTER}30", f"{FILTER}{ms}")
    found = judged(tmp_path, ["T01"], *DOCILE, slower, run_class=RunClass(("S2",), 1))
    assert found["T01"].outcome is expected


BROKEN = {
    "T10": ("within: 600 s", "within: 499 s"),
    "T05": ("run_fwd, PT := T#60s", "run_fwd, PT := T#54s"),
    "T01": ("flow = CREEP, seconds: [2, 5]", "flow = CREEP, seconds: [1, 5]"),
    "T06": ("PT := T#2s", "PT := T#1500ms"),
    "T08": ("PT := T#10s", "PT := T#10500ms"),
}


def test_a_watch_over_the_slide_of_54_s_and_a_half_does_not_trip_without_need(
    tmp_path: Path,
) -> None:
    shorter = ("run_fwd, PT := T#60s", "run_fwd, PT := T#54500ms")
    assert judged(tmp_path, ["T05"], *DOCILE, shorter)["T05"].outcome is HOLDS


@pytest.mark.slow
@pytest.mark.parametrize("id_", BROKEN)
def test_what_misses_a_bound_by_a_unit_is_violated(id_: str, tmp_path: Path) -> None:
    assert judged(tmp_path, [id_], *DOCILE, BROKEN[id_])[id_].outcome is VIOLATED


def test_short_pulls_over_the_end_of_the_station_add_up(tmp_path: Path) -> None:
    """Where the room stops on the last 20 mm it goes on from there; it holds all the same."""
    creeps = "seconds: [2, 5], assumed: true, says: the room creeps over"
    runs = "seconds: [0.4, 1], assumed: true, says: the room runs over"
    goes_on = [
        (line, line.replace("assumed: true", "assumed: true, interrupted: goes on"))
        for line in (creeps, runs)
    ]
    found = judged(tmp_path / "goes_on", ["T01"], *goes_on)["T01"]
    anew = judged(tmp_path / "anew", ["T01"])["T01"]
    assert found.outcome is anew.outcome is HOLDS
    assert found.verdict.n_states > anew.verdict.n_states
