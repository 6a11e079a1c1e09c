"""Models that were told to hold, or to be harmless, and are not: each was judged wrongly once."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from interlock.cli.main import run
from tests.support.small_models import write_model


def judged(folder: Path, model: str, program: str, *options: str) -> tuple[int, dict[str, Any]]:
    """The exit code of `verify`, and each requirement of its JSON by id."""
    folder.mkdir(exist_ok=True)
    write_model(folder / "m", model, program)
    out = folder / "out.json"
    code = run(["verify", str(folder / "m"), "--json", str(out), "--plain", *options])
    found = json.loads(out.read_text("utf-8"))
    return code, {one["id"]: one for one in found["requirements"]}


def order_of(folder: Path, model: str, program: str) -> tuple[int, dict[str, list[list[str]]]]:
    """The exit code of `faults`, and the minimal sets of each requirement."""
    folder.mkdir(exist_ok=True)
    write_model(folder / "f", model, program)
    out = folder / "faults.json"
    asked = ["faults", str(folder / "f"), "--json", str(out), "-o", str(folder / "told")]
    code = run([*asked, "--no-sensors", "--plain"])
    found = json.loads(out.read_text("utf-8"))
    return code, {
        one["id"]: [each["faults"] for each in one["sets"]] for one in found["requirements"]
    }


COUNTING = """\
title: A number that runs away
controller: controller.st
plant:
  tap: {states: [shut, open], moves: [{from: shut, to: open, by: operator}]}
sensors: {quiet: {reads: 'TRUE'}}
outputs: {level: {says: a number}, lamp: {lamp: green}}
requirements:
  R1: {says: Green only with a low level, never: lamp AND level > 3, survives: 1}
  R2: {says: The tap may be opened, can_still: tap = open}
faults: {F1: {says: the sensor is stuck, sensor: quiet, stuck: 'FALSE'}}
"""
COUNTING_PROGRAM = """\
PROGRAM P
VAR_INPUT quiet : BOOL; END_VAR
VAR_OUTPUT level : INT (0..3); lamp : BOOL; END_VAR
IF NOT quiet THEN level := level + 1; END_IF;
lamp := level = 0;
END_PROGRAM
"""


@pytest.mark.parametrize("only", [(), ("--only", "R1"), ("--only", "ARITHMETIC", "--only", "R1")])
def test_an_overflow_that_a_fault_brings_about_is_found(tmp_path: Path, only: Any) -> None:
    code, found = judged(tmp_path, COUNTING, COUNTING_PROGRAM, *only)
    assert code == 1
    assert found["ARITHMETIC"]["outcome"] == "violated"
    assert found["ARITHMETIC"]["run_class"] == "any one component fault"
    assert ("R2" in found) == (only == ())


def test_faults_finds_the_overflow_too(tmp_path: Path) -> None:
    _, sets = order_of(tmp_path, COUNTING, COUNTING_PROGRAM)
    assert sets["ARITHMETIC"] == [["F1"]]


def test_arithmetic_alone_may_be_asked_for(tmp_path: Path) -> None:
    code, found = judged(tmp_path, COUNTING, COUNTING_PROGRAM, "--only", "ARITHMETIC")
    assert (code, list(found)) == (0, ["ARITHMETIC"])
    assert not found["ARITHMETIC"]["vacuous"]


TRAPPED = """\
title: A door that a fault shuts for good
controller: controller.st
plant:
  door:
    states: [shut, open]
    initial: open
    moves:
      - {from: open, to: shut, when: F1, says: it falls shut}
      - {from: shut, to: open, when: FREE, says: it is pushed open}
sensors: {shut: {reads: door = shut}}
outputs: {lamp: {lamp: red}}
requirements:
  R1: {says: The door can always be opened, can_still: door = open, survives: SURVIVES}
faults:
  F1: {says: the spring breaks}
  F2: {says: the frame bends, intermittent: true}
"""
LAMP = """\
PROGRAM P
VAR_INPUT shut : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := shut;
END_PROGRAM
"""


@pytest.mark.parametrize("way_back", ["F2", "NOT F1", "F1 AND F2"])
@pytest.mark.parametrize("survives", [1, 2])
def test_neither_a_strike_nor_a_clearing_is_a_way_back(
    tmp_path: Path, way_back: str, survives: int
) -> None:
    model = TRAPPED.replace("FREE", way_back).replace("SURVIVES", str(survives))
    code, found = judged(tmp_path, model, LAMP)
    assert (code, found["R1"]["outcome"]) == (1, "violated")
    # What is violated under one fault is violated under two; the fewest are told.
    assert found["R1"]["run_class"] == "any one component fault"


JAMMED = """\
title: A lock that rusts open
controller: controller.st
plant:
  lock:
    states: [shut, open]
    moves: [{from: shut, to: open, by: operator, says: opens the lock}]
  body:
    states: [away, home]
    initial: home
    moves:
      - {from: home, to: away, when: lock = open, says: it slides away}
      - {from: away, to: home, also: {lock: shut}, says: it slides home and locks}
sensors: {shut: {reads: body = home}}
outputs: {lamp: {lamp: red}}
requirements:
  R1: {says: A home that was left is locked, scope: {from: body = away, until: lock = shut},
       never: body = home AND lock = open, survives: 1}
faults: {F1: {says: the lock rusts open, machine: lock, jams_in: [open]}}
"""


def test_a_jam_holds_against_what_another_machine_carries_along(tmp_path: Path) -> None:
    code, found = judged(tmp_path, JAMMED, LAMP)
    assert (code, found["R1"]["outcome"]) == (1, "violated")
    _, sets = order_of(tmp_path, JAMMED, LAMP)
    assert sets["R1"] == [["F1"]]


STILL = """\
title: Nothing moves
controller: controller.st
plant:
  door: {states: [shut, open], moves: [{from: shut, to: open, when: F1, says: it falls open}]}
sensors: {shut: {reads: door = shut}}
outputs: {lamp: {lamp: red}}
requirements:
  R1: {says: The lamp is dark after a scan, never: lamp, judged: after scan}
faults: {F1: {says: the hinge breaks}}
"""


def test_what_is_judged_after_a_scan_is_judged_where_nothing_can_move(tmp_path: Path) -> None:
    code, found = judged(tmp_path, STILL, LAMP)
    assert (code, found["R1"]["outcome"], found["R1"]["vacuous"]) == (1, "violated", False)


POWERED = """\
title: Stuck when power comes
controller: controller.st
plant:
  door:
    states: [shut, open]
    initial: open
    moves: [{from: open, to: shut, by: operator, says: shuts the door}]
sensors: {shut: {reads: door = shut}}
outputs: {lamp: {lamp: green}}
requirements:
  R1: {says: Dark before the door was shut, never: lamp, scope: {before: door = shut}, survives: 1}
faults: {F1: {says: the switch is stuck, sensor: shut, stuck: 'TRUE'}}
"""
FIRST_SCAN_ONLY = """\
PROGRAM P
VAR_INPUT shut : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
VAR started : BOOL; END_VAR
IF NOT started THEN lamp := shut; started := TRUE; END_IF;
END_PROGRAM
"""


def test_a_fault_may_be_there_before_the_first_scan(tmp_path: Path) -> None:
    code, found = judged(tmp_path, POWERED, FIRST_SCAN_ONLY)
    assert (code, found["R1"]["outcome"]) == (1, "violated")


BETWEEN = """\
title: A fault between a move and its scan
controller: controller.st
plant:
  door:
    states: [shut, open]
    moves:
      - {from: shut, to: open, by: operator, says: opens the door}
      - {from: open, to: shut, by: operator, says: shuts the door}
sensors: {shut: {reads: door = shut}}
outputs: {lamp: {lamp: green}, lost: {says: nobody saw it}}
requirements:
  R1: {says: No opening is lost, never: lost AND door = open, judged: after scan, survives: 1}
faults: {F1: {says: the controller starts again, restart: true}}
"""
# Only a restart right behind an opening makes the program miss it: it forgets that it was shut.
REMEMBERING = """\
PROGRAM P
VAR_INPUT shut : BOOL; END_VAR
VAR_OUTPUT lamp, lost : BOOL; END_VAR
VAR was_shut : BOOL; END_VAR
VAR RETAIN seen : BOOL; END_VAR
IF was_shut AND NOT shut THEN seen := TRUE; END_IF;
IF shut THEN seen := FALSE; END_IF;
lost := NOT shut AND NOT seen;
lamp := seen;
was_shut := shut;
END_PROGRAM
"""


def test_a_restart_may_come_between_a_move_and_its_scan(tmp_path: Path) -> None:
    code, found = judged(tmp_path, BETWEEN, REMEMBERING)
    assert (code, found["R1"]["outcome"]) == (1, "violated")


FREE = """\
title: A time that is up in between
controller: controller.st
run: {scan_ms: 10, timers: TIMERS}
plant:
  door: {states: [shut, open], moves: [{from: shut, to: open, by: operator, says: opens}]}
sensors: {shut: {reads: door = shut}}
outputs: {lamp: {lamp: red}}
requirements:
  R1: {says: The lamp never lights an open door, never: lamp AND door = open, judged: after scan}
"""
# The lamp comes on only where the time is up and the door opens in one and the same interval.
TIMED = """\
PROGRAM P
VAR_INPUT shut : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
VAR t : TON; was, ran : BOOL; END_VAR
t(IN := TRUE, PT := T#20ms);
lamp := t.Q AND ran AND was AND NOT shut;
was := shut;
ran := NOT t.Q;
END_PROGRAM
"""


@pytest.mark.parametrize("timers", ["free", "counted"])
def test_the_time_of_a_free_timer_is_up_where_a_counted_one_can_be(
    tmp_path: Path, timers: str
) -> None:
    code, found = judged(tmp_path, FREE.replace("TIMERS", timers), TIMED)
    assert (code, found["R1"]["outcome"]) == (1, "violated")


TRIP = """\
title: One sensor and its trip
controller: controller.st
plant:
  demand: {states: [absent, there], moves: [{from: absent, to: there, says: it gets too hot}]}
sensors: {s: {reads: demand = there}}
outputs: {trip: {says: the shut-off}, lamp: {lamp: red}}
requirements:
  R1: {says: A demand trips, when: demand = there, always: trip, judged: after scan, survives: 1}
faults: {F1: {says: the sensor is stuck, sensor: s, stuck: 'FALSE'}}
"""
TRIP_PROGRAM = """\
PROGRAM P
VAR_INPUT s : BOOL; END_VAR
VAR_OUTPUT trip, lamp : BOOL; END_VAR
trip := s;
lamp := FALSE;
END_PROGRAM
"""


def test_the_loss_of_a_safety_function_is_not_its_own_detection(tmp_path: Path) -> None:
    code, found = judged(tmp_path, TRIP, TRIP_PROGRAM)
    assert (code, found["R1"]["harm_by_faults"]) == (1, "dangerous")


def test_a_restart_that_only_forgets_is_not_detected(tmp_path: Path) -> None:
    code, found = judged(tmp_path, BETWEEN, REMEMBERING)
    assert (code, found["R1"]["harm_by_faults"]) == (1, "dangerous")


RESPONDING = """\
title: A lamp that answers late
controller: controller.st
run: {scan_ms: 100}
plant:
  door: {states: [shut, open], moves: [{from: shut, to: open, by: operator, says: opens}]}
sensors: {shut: {reads: door = shut, delay_ms: 20, delay_assumed: true}}
outputs: {lamp: {lamp: red, delay_ms: 30, delay_assumed: true}}
requirements:
  R1: {says: Red soon, whenever: door = open, leads_to: lamp, within: 149 ms}
"""
NOT_SHUT = "PROGRAM P\nVAR_INPUT shut : BOOL; END_VAR\nVAR_OUTPUT lamp : BOOL; END_VAR\n" + (
    "lamp := NOT shut;\nEND_PROGRAM\n"
)


def test_too_late_is_violated_wherever_it_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    junit, sarif = tmp_path / "j.xml", tmp_path / "s.json"
    code, found = judged(
        tmp_path, RESPONDING, NOT_SHUT, "--junit", str(junit), "--sarif", str(sarif)
    )
    assert (code, found["R1"]["outcome"], found["R1"]["too_late"]) == (1, "violated", True)
    assert found["R1"]["most_scans"] == 1
    # 20 ms filter, 100 ms wait, one scan of 100 ms, 30 ms effect.
    assert "= 250 ms at worst; allowed: 149 ms" in found["R1"]["why"]
    printed = " ".join(capsys.readouterr().out.split())
    assert "1 violated." in printed
    assert "violated (too late)" in printed
    assert 'failures="1"' in junit.read_text("utf-8")
    (result,) = json.loads(sarif.read_text("utf-8"))["runs"][0]["results"]
    assert result["kind"] == "fail"


SLOWED = """\
title: A lamp that a dirty contact makes slow
controller: controller.st
run: {scan_ms: 100}
plant:
  door: {states: [shut, open], moves: [{from: shut, to: open, by: operator, says: opens}]}
sensors:
  shut: {reads: door = shut, delay_ms: 20, delay_assumed: true}
  quick: {reads: 'TRUE'}
outputs: {lamp: {lamp: red, delay_ms: 30, delay_assumed: true}}
requirements:
  R1: {says: Red soon, whenever: door = open, leads_to: lamp, within: 449 ms, survives: 1}
faults: {F1: {says: a contact is dirty, sensor: quick, stuck: 'FALSE'}}
"""
SLOWED_PROGRAM = """\
PROGRAM P
VAR_INPUT shut, quick : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
VAR n : INT (0..3); END_VAR
IF shut THEN n := 0; ELSIF n < 3 THEN n := n + 1; END_IF;
lamp := NOT shut AND (quick OR n = 3);
END_PROGRAM
"""


def test_a_fault_that_makes_a_response_too_late_is_not_harmless(tmp_path: Path) -> None:
    code, found = judged(tmp_path, SLOWED, SLOWED_PROGRAM)
    assert (code, found["R1"]["outcome"], found["R1"]["too_late"]) == (1, "violated", True)
    assert (found["R1"]["run_class"], found["R1"]["most_scans"]) == ("any one component fault", 3)
    # Its run breaks nothing state by state, so whether it was told in time is not known either.
    assert found["R1"]["harm_by_faults"] is None


NEVER_TESTED = """\
title: A door that only an error opens
controller: controller.st
plant:
  door:
    states: [shut, open]
    moves: [{from: shut, to: open, by: human, says: tears the door open}]
sensors: {shut: {reads: door = shut}}
outputs: {lamp: {lamp: red}}
requirements:
  R1: {says: An open door shows, when: door = open, always: lamp, judged: after scan}
"""


def test_what_was_never_put_to_the_test_does_not_hold(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, found = judged(tmp_path, NEVER_TESTED, NOT_SHUT)
    assert (code, found["R1"]["outcome"], found["R1"]["vacuous"]) == (3, "undecided", True)
    assert "no component fault, without human errors" in found["R1"]["why"]
    assert "never put to the test: R1" in " ".join(capsys.readouterr().out.split())


def test_what_only_faults_put_to_the_test_is_not_counted_as_holding_without_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    claims = NEVER_TESTED.replace("judged:", "survives: 1, judged:")
    claims += "faults: {F1: {says: the lamp fails, output: lamp, stuck: 'FALSE'}}\n"
    report = tmp_path / "junit.xml"
    options = ("--faults", "none", "--ledger", "--junit", str(report))
    code, found = judged(tmp_path, claims, NOT_SHUT, *options)
    told = " ".join(capsys.readouterr().out.split())
    # It does not decide the end, since nobody asked for faults; nor is it told to hold.
    assert (code, found["R1"]["outcome"], found["R1"]["vacuous"]) == (0, "undecided", True)
    assert "1 vacuous." in told
    assert "1 holds" not in told
    assert "hold with" not in told
    assert 'skipped="1"' in report.read_text("utf-8")
    assert order_of(tmp_path, claims, NOT_SHUT) == (0, {"R1": []})
    told = " ".join(capsys.readouterr().out.split())
    assert "whether it was put to the test at all, 'verify' tells" in told


def test_faults_says_that_it_judges_a_bound_in_time_by_whole_scans(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, sets = order_of(tmp_path, SLOWED, SLOWED_PROGRAM)
    assert (code, sets["R1"]) == (0, [])
    told = " ".join(capsys.readouterr().out.split())
    assert "A bound in time is judged here in whole scans (R1)." in told
    found = json.loads((tmp_path / "faults.json").read_text("utf-8"))
    assert found["judged_in_whole_scans"] == ["R1"]
    order_of(tmp_path / "other", TRIP, TRIP_PROGRAM)
    assert "in whole scans" not in " ".join(capsys.readouterr().out.split())
