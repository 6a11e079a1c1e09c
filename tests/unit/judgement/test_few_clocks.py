"""Requirements in time judged with few clocks: what must not come to hold so, and what is told.

Each small model here has a run that one thing too much, forgotten or assumed, would rule out.
"""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from rich.console import Console

from interlock.commands.verify.data import to_json, to_junit
from interlock.commands.verify.tell import render
from interlock.engines import catalogue
from interlock.judgement import engines
from interlock.judgement.few_clocks import Judged, judge_with_few_clocks
from interlock.judgement.verify import verify, verify_claims
from interlock.kernel.query import Limits
from interlock.kernel.requirement import Outcome
from interlock.model.build import build
from interlock.model.freed import can_be_freed
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import written
from tests.support.timed_gate import timed_gate

HOLDS, VIOLATED, UNDECIDED = Outcome.HOLDS, Outcome.VIOLATED, Outcome.UNDECIDED

YAML = """\
title: What a scan sees
controller: controller.st
run: {scan_ms: 100, time: {unit: 50 ms}}
plant:
  arm:
    states: [home, half, out]
    moves:
      - {from: home, to: half, seconds: [0.2, 0.4], assumed: true}
      - {from: half, to: out, seconds: [0.15, 0.4], assumed: true}
  flag:
    states: [down, up]
    moves: []
sensors:
  at_half: {reads: arm = half}
outputs:
  seen: {}
  ran: {}
requirements:
  R1: {says: The arm is seen half-way, never: arm = out AND NOT seen}
  R2: {says: Nothing moves before the first scan, never: arm <> home AND NOT ran}
  R3: {says: The arm comes out, whenever: arm = home, leads_to: arm = out}
  R4: {says: The flag is up only where the arm was seen, never: flag = up AND NOT seen}
"""
ST = """\
PROGRAM P
VAR_INPUT at_half : BOOL; END_VAR
VAR_OUTPUT seen, ran : BOOL; END_VAR
seen := seen OR at_half;
ran := TRUE;
END_PROGRAM
"""


def arm(folder: Path, *changes: tuple[str, str]) -> Model:
    yaml = YAML
    for old, new in changes:
        assert old in yaml, old
        yaml = yaml.replace(old, new)
    return load(written(folder, yaml, ST))


def few(model: Model, limits: Limits = Limits()) -> dict[str, Judged]:
    built = build(model)
    return judge_with_few_clocks(built, built.requirements.values(), limits, None, ()).judged


def in_time(model: Model, id_: str) -> Outcome:
    """The same with every clock, state by state."""
    found = verify(model, catalogue()["reference"](), only=[id_]).findings
    return next(f.verdict.outcome for f in found if f.requirement.id == id_)


# Scans are 0.1 s apart. With just so long half-way a scan may come right before and right behind.
@pytest.mark.parametrize(
    ("least", "expected"), [("0.05", VIOLATED), ("0.1", VIOLATED), ("0.15", HOLDS)]
)
def test_what_takes_no_longer_than_a_scan_may_go_unseen(
    least: str, expected: Outcome, tmp_path: Path
) -> None:
    model = arm(tmp_path, ("[0.15,", f"[{least},"))
    found = few(model)["R1"]
    assert found.verdict.outcome is expected
    assert in_time(model, "R1") is expected
    if expected is HOLDS:
        assert found.kept == ()


def test_a_person_may_act_right_behind_what_took_its_time(tmp_path: Path) -> None:
    by_hand = "{from: half, to: home, by: operator, also: {flag: up}}"
    model = arm(tmp_path, ("{from: half, to: out, seconds: [0.15, 0.4], assumed: true}", by_hand))
    assert few(model)["R4"].verdict.outcome is VIOLATED
    assert in_time(model, "R4") is VIOLATED


def test_what_people_did_since_the_scan_is_not_what_a_slow_move_waits_for(tmp_path: Path) -> None:
    """The arm is set half-way by hand; how long it takes from there lets a scan see it."""
    by_hand = "{from: home, to: half, by: operator}"
    model = arm(tmp_path, ("{from: home, to: half, seconds: [0.2, 0.4], assumed: true}", by_hand))
    found = few(model)["R1"]
    assert (found.verdict.outcome, found.kept) == (HOLDS, ())
    assert in_time(model, "R1") is HOLDS


def test_what_stays_where_it_is_waits_on(tmp_path: Path) -> None:
    """The arm trembles right before it leaves: no scan comes in between, however long it waited."""
    trembles = "{from: home, to: home, when: flag = down, also: {flag: up}, "
    trembles += "seconds: [0.05, 9], assumed: true}"
    leaves = "{from: home, to: half, seconds: [0.2, 0.4], assumed: true}"
    model = arm(
        tmp_path,
        (leaves, f"{trembles}\n      - {leaves}"),
        ("{reads: arm = half}", "{reads: flag = up}"),
        ("never: arm = out AND NOT seen", "never: arm = half AND flag = up AND NOT seen"),
    )
    assert few(model)["R1"].verdict.outcome is VIOLATED
    assert in_time(model, "R1") is VIOLATED


@pytest.mark.parametrize(("least", "expected"), [("0", VIOLATED), ("0.2", HOLDS)])
def test_what_takes_no_time_may_come_before_the_first_scan(
    least: str, expected: Outcome, tmp_path: Path
) -> None:
    model = arm(tmp_path, ("[0.2,", f"[{least},"))
    assert few(model)["R2"].verdict.outcome is expected
    assert in_time(model, "R2") is expected


def test_what_is_owed_stays_owed_and_what_only_may_happen_is_not(tmp_path: Path) -> None:
    assert few(arm(tmp_path))["R3"].verdict.outcome is HOLDS
    stops = "{from: half, to: home, seconds: [0.1, 0.4], assumed: true}"
    model = arm(tmp_path, ("{from: half, to: out, seconds: [0.15, 0.4], assumed: true}", stops))
    found = few(model)["R3"]
    assert found.verdict.outcome is VIOLATED
    assert found.verdict.witness is not None
    assert found.verdict.witness.loop_start is not None


# 0.8 s is what the gate takes at most: see `tests/unit/model/test_clocks.py`.
@pytest.mark.parametrize(("preset_ms", "expected"), [(800, VIOLATED), (900, HOLDS)])
def test_clocks_that_decide_are_kept_in_the_end(
    preset_ms: int, expected: Outcome, tmp_path: Path
) -> None:
    model = timed_gate(tmp_path, ("T#900ms", f"T#{preset_ms}ms"))
    found = few(model)
    assert found["R1"].verdict.outcome is expected
    assert found["R1"].kept != ()
    assert (found["R2"].verdict.outcome, found["R2"].kept) == (HOLDS, ())


@pytest.mark.parametrize(("most", "expected"), [("600 ms", VIOLATED), ("800 ms", HOLDS)])
def test_a_length_is_decided_by_what_is_measured(
    most: str, expected: Outcome, tmp_path: Path
) -> None:
    asked = f"  T1: {{says: '-', lasts: drive AND gate <> shut, at_most: {most}}}\n  R1:"
    model = timed_gate(tmp_path, ("  R1:", asked))
    assert few(model)["T1"].verdict.outcome is expected
    assert in_time(model, "T1") is expected
    # Running out of budget is never 'holds', also where only a measure is asked.
    assert few(model, Limits(max_states=3))["T1"].verdict.outcome is UNDECIDED


def test_that_something_can_still_be_reached_is_not_asked(tmp_path: Path) -> None:
    asked = "  R5: {says: '-', can_still: arm = out}\n  R1:"
    assert "R5" not in few(arm(tmp_path, ("  R1:", asked)))


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (("What a scan sees", "As it is"), True),
        (("[0.2, 0.4]", "[0, 0]"), False),
        (("{reads: arm = half}", "{reads: arm = half, delay_ms: 40, delay_assumed: true}"), False),
        (("seen: {}", "seen: {delay_ms: 40, delay_assumed: true}"), False),
        (("{reads: arm = half}", "{reads: arm = half, age: 1 scan}"), True),
    ],
)
def test_what_else_counts_time_is_left_to_all_clocks(
    change: tuple[str, str], expected: bool, tmp_path: Path
) -> None:
    assert can_be_freed(arm(tmp_path, change)) is expected


def test_added_delays_leave_clocks_alone(tmp_path: Path) -> None:
    delayed = "{reads: arm = half, delay_ms: 40, delay_assumed: true}"
    added = ("unit: 50 ms", "unit: 50 ms, delays: added")
    model = arm(tmp_path, ("{reads: arm = half}", delayed), added)
    assert can_be_freed(model)
    assert not model.late_sensors


def test_only_what_is_too_large_is_judged_so_and_the_result_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    claims = ("R2: {says: Nothing", "R2: {survives: 1, says: Nothing")
    reached = "  R5: {says: '-', can_still: arm = out}\n"
    model = arm(tmp_path, claims, ("  R4:", f"{reached}  R4:"))
    engine = engines.AutomaticEngine()
    small = verify(model, engine)
    assert not small.left_free
    assert "times_counted" not in to_json(small)
    monkeypatch.setattr(engines, "MAX_ENUMERATED", 5)
    large = verify_claims(model, engine)
    assert [f.outcome for f in large.findings] == [f.outcome for f in small.findings]
    told = "judged with all durations left free: R1, R2, R3, R4"
    assert large.left_free == (told,)
    counted = {r["id"]: r.get("times_counted") for r in json.loads(to_json(large))["requirements"]}
    assert counted == {"R1": [], "R2": [], "R3": [], "R4": [], "R5": None}
    assert told in to_junit(large)
    console = Console(width=200, record=True, file=io.StringIO())
    console.print(render(large, 200))
    assert told in console.export_text()


def test_a_violation_found_with_few_clocks_is_replayed_in_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engines, "MAX_ENUMERATED", 5)
    model = arm(tmp_path, ("[0.15,", "[0.05,"))
    found = verify(model, engines.AutomaticEngine(), only=["R1"]).findings
    (finding,) = (f for f in found if f.requirement.id == "R1")
    assert finding.outcome is VIOLATED
    assert finding.run is not None
    # Time passes on it, as its moves take theirs.
    moves = [happening.move for happening in finding.run.happenings]
    assert moves.count("tick") >= 5


KEY = """\
title: A key beside a hand
controller: controller.st
run: {scan_ms: 100, time: {unit: 100 ms, delays: added}}
plant:
  hand:
    states: [up, down]
    by: operator
    moves:
      - {from: up, to: down, seconds: [0.4, 1], assumed: true}
  key:
    states: [in, out]
    moves:
      - {from: in, to: out, seconds: [0.1, 0.1], assumed: true}
sensors:
  pressed: {reads: hand = down}
  far: {reads: key = out}
outputs: {lamp: {delay_ms: 250, delay_assumed: true}}
requirements:
  R1: {says: The lamp is lit soon, whenever: hand = down, leads_to: lamp, within: 500 ms}
"""
SLOWLY = """\
PROGRAM P
VAR_INPUT pressed, far : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
VAR n : INT (0..3); END_VAR
IF pressed THEN
  IF far OR n >= 2 THEN lamp := TRUE; ELSE n := MIN(n + 1, 3); END_IF;
END_IF;
END_PROGRAM
"""


def test_what_is_too_late_with_delays_alone_is_asked_with_more_clocks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The key is out long before the hand is down: 100 ms and the lamp's 250, of 500."""
    model = load(written(tmp_path, KEY, SLOWLY))
    monkeypatch.setattr(engines, "MAX_ENUMERATED", 1)
    (finding,) = verify(model, engines.AutomaticEngine()).findings
    assert finding.verdict.outcome is HOLDS
    assert not finding.is_too_late
    assert finding.reaction is not None
    assert finding.reaction.total_ms == 350
