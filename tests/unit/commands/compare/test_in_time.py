"""Comparing models with time: both programs in one time, margins side by side, what it touches."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.compare.behaviour import Likeness
from interlock.commands.compare.impact import find_impact
from interlock.commands.compare.margins import margin_changes
from interlock.commands.compare.study import Comparison, compare
from interlock.commands.compare.verdicts import Effect
from interlock.engines import catalogue
from interlock.model.model import Model
from tests.support.timed_gate import timed_gate, timed_gate_folder

PRESET = "T#900ms"
R2 = "leads_to: gate = shut}"
IN_TIME = (R2, "leads_to: gate = shut, within: 2 s}")
SLOWER = ("seconds: [0.5, 0.7]", "seconds: [0.5, 1.1]")
TIME = ", time: {unit: 100 ms}"


def compared(old: Model, new: Model) -> Comparison:
    return compare(old, new, catalogue()["reference"]())


def likeness(found: Comparison) -> dict[str, Likeness]:
    assert found.behaviour is not None, found.not_applicable
    return {o.output: o.likeness for o in found.behaviour.outputs}


@pytest.mark.parametrize(
    ("preset", "alarm"),
    # The gate is shut 0.8 s after it is driven, and that is seen a scan of 0.1 s later.
    [("T#1000ms", Likeness.EQUAL), ("T#5s", Likeness.EQUAL), ("T#800ms", Likeness.DIFFERS)],
)
def test_another_preset_time_differs_only_where_time_lets_it_be_seen(
    preset: str, alarm: Likeness, tmp_path: Path
) -> None:
    old, new = timed_gate(tmp_path / "old"), timed_gate(tmp_path / "new", (PRESET, preset))
    found = compared(old, new)
    assert likeness(found) == {"drive": Likeness.EQUAL, "alarm": alarm}
    # Without time the watchdog may be up whenever it likes, in either model.
    free = [timed_gate(tmp_path / f"{n}", (TIME, "")) for n in "ab"]
    assert likeness(compared(*free))["alarm"] is Likeness.EQUAL


def test_a_run_to_a_difference_is_replayed_in_its_time(tmp_path: Path) -> None:
    old = timed_gate(tmp_path / "old", ("T#900ms", "T#300ms"))
    new = timed_gate(tmp_path / "new", ("T#900ms", "T#500ms"), ("watchdog", "guard"))
    found = compared(old, new)
    (alarm,) = [o for o in found.behaviour.outputs if o.output == "alarm"]  # type: ignore[union-attr]
    assert alarm.run is not None
    moves = [h.move for h in alarm.run.happenings]
    driven = moves.index("scan", moves.index("button to TRUE"))
    assert (moves.count("tick"), moves[-1]) == (moves[:driven].count("tick") + 3, "scan")
    assert (alarm.run.before, alarm.run.after) == (1, 0)


STOPPED = "watchdog(IN := drive AND NOT is_shut, PT := T#900ms);\nalarm := watchdog.Q;"


def test_a_timer_that_goes_on_alone_is_due_no_later_for_that(tmp_path: Path) -> None:
    # Both start together; one stops when the button is let go, and the other ran all the while.
    short = STOPPED.replace("900", "300")
    stops = short.replace("drive AND", "drive AND pressed AND")
    old, new = (
        timed_gate(tmp_path / name, (STOPPED, text), ("R2:", "R3:"))
        for name, text in (("old", short), ("new", stops))
    )
    (alarm,) = [
        o
        for o in compared(old, new).behaviour.outputs
        if o.output == "alarm"  # type: ignore[union-attr]
    ]
    assert alarm.run is not None
    moves = [h.move for h in alarm.run.happenings]
    driven = moves.index("scan", moves.index("button to TRUE"))
    # A unit before the button is let go, a scan to see that, and two more: three in all.
    assert moves.count("tick") - moves[:driven].count("tick") == 3


def test_margins_stand_side_by_side(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    old = timed_gate_folder(tmp_path / "old", IN_TIME)
    new = timed_gate_folder(tmp_path / "new", IN_TIME, SLOWER)
    assert run(["compare", str(old), str(new), "--plain", "-o", str(tmp_path / "impact")]) == 1
    assert "R2: from 0.8 s to 1.2 s of the allowed 2 s" in capsys.readouterr().out
    assert "R2: from 0.8 s to 1.2 s of the allowed 2 s" in (
        (tmp_path / "impact" / "impact.md").read_text("utf-8")
    )
    data = json.loads((tmp_path / "impact" / "impact.json").read_text("utf-8"))
    assert data["margins"] == [
        {
            "id": "R2",
            "old": {"taken_ms": 800, "within_ms": 2000.0},
            "new": {"taken_ms": 1200, "within_ms": 2000.0},
        }
    ]


def test_margins_of_other_bounds_are_told_whole(tmp_path: Path) -> None:
    old = timed_gate(tmp_path / "old", IN_TIME)
    sharper = timed_gate(tmp_path / "sharper", (R2, IN_TIME[1].replace("2 s", "1 s")))
    missed = timed_gate(tmp_path / "missed", (R2, IN_TIME[1].replace("2 s", "700 ms")))
    said = [
        [change.says for change in margin_changes(compared(old, new).verdicts)]
        for new in (sharper, missed, old)
    ]
    assert said == [
        ["from at most 0.8 s of the allowed 2 s to at most 0.8 s of the allowed 1 s"],
        ["before at most 0.8 s of the allowed 2 s, now none"],
        [],
    ]


def test_a_model_with_time_and_one_without_are_compared_by_their_verdicts(tmp_path: Path) -> None:
    old = timed_gate(tmp_path / "old", IN_TIME)
    new = timed_gate(tmp_path / "new", IN_TIME, (TIME, ""))
    there, back = compared(old, new), compared(new, old)
    assert there.not_applicable == "time passes in the old model only"
    assert back.not_applicable == "time passes in the new model only"
    # What the watchdog waits for plays no part any more, so that it may be up whenever it likes.
    assert {v.id: v.effect for v in there.verdicts}["R1"] is Effect.WORSE
    assert {v.id: v.effect for v in back.verdicts}["R1"] is Effect.BETTER
    assert {"R1", "R2"} <= {t.name for t in find_impact(there).touched}


def test_other_units_are_no_one_time(tmp_path: Path) -> None:
    old = timed_gate(tmp_path / "old")
    new = timed_gate(tmp_path / "new", ("unit: 100 ms", "unit: 50 ms"))
    assert compared(old, new).not_applicable == "time is counted in units of 100 ms and of 50 ms"
    exact = ("unit: 100 ms", "unit: exact")
    new = timed_gate(tmp_path / "exact", exact, ("T#900ms", "T#840ms"))
    wanted = "time is counted in units of 100 ms and of 20 ms; give both 'unit: 20 ms'"
    assert compared(old, new).not_applicable == wanted
    new = timed_gate(tmp_path / "late", ("ms}}", "ms, scan: [80 ms, 100 ms]}}"))
    wanted = "one model has scans 100 ms apart, the other scans 80 to 100 ms apart"
    assert compared(old, new).not_applicable == wanted


def test_what_asks_of_time_cannot_be_asked_where_none_passes(tmp_path: Path) -> None:
    lasts = ("requirements:", "requirements:\n  R3: {says: x, lasts: drive, at_most: 9 s}")
    old = timed_gate(tmp_path / "old", lasts)
    found = compared(old, timed_gate(tmp_path / "new", (TIME, "")))
    (verdict,) = [v for v in found.verdicts if v.id == "R3"]
    assert verdict.former is not None
    assert "no time passes there" in verdict.former.says


def test_a_bound_that_would_be_rounded_is_not_asked_where_nothing_is(tmp_path: Path) -> None:
    held = ("requirements:", "requirements:\n  R3: {says: x, lasts: drive, at_most: 950 ms}")
    old = timed_gate(tmp_path / "old", held)
    found = compared(old, timed_gate(tmp_path / "new", ("unit: 100 ms", "unit: exact")))
    (verdict,) = [v for v in found.verdicts if v.id == "R3"]
    assert verdict.former is not None
    assert "950 ms is no whole number of units of 100 ms" in verdict.former.says


def test_another_duration_touches_what_depends_on_its_machine(tmp_path: Path) -> None:
    found = compared(timed_gate(tmp_path / "old"), timed_gate(tmp_path / "new", SLOWER))
    touched = {t.name for t in find_impact(found).touched}
    assert {"gate", "R2", "R1", "alarm"} <= touched
    # Without time it is told of the gate, and what depends on the gate behaves as before.
    free = timed_gate(tmp_path / "a", (TIME, "")), timed_gate(tmp_path / "b", (TIME, ""), SLOWER)
    assert find_impact(compared(*free)).untouched == ("R1",)
