"""What is shown only once a program has come to rest: behind timers, behind memory, by flashing."""

from __future__ import annotations

from pathlib import Path

from interlock.commands.testsheet.rows_in_words import seen_says
from interlock.commands.testsheet.sheet import Row, Sheet
from interlock.commands.testsheet.study import make_sheet
from interlock.engines import catalogue
from interlock.kernel.query import Limits
from interlock.model.load import load
from tests.support.small_models import write_model

DOOR = """\
title: A door with two switches
controller: controller.st
plant:
  door:
    states: [shut, open]
    by: operator
    moves: [{from: shut, to: open}, {from: open, to: shut}]
sensors:
  shut_a: {reads: door = shut}
  shut_b: {reads: door = shut}
outputs: {alarm: {lamp: red}, green: {lamp: green}}
requirements: {Q1: {says: never both, never: alarm AND green}}
faults:
  W1: {says: wire of the first switch broken, sensor: shut_a, stuck: FALSE}
"""


def program(body: str, memory: str) -> str:
    return (
        "PROGRAM Door\nVAR_INPUT shut_a, shut_b : BOOL; END_VAR\n"
        f"VAR_OUTPUT alarm, green : BOOL; END_VAR\nVAR {memory} END_VAR\n{body}\nEND_PROGRAM\n"
    )


def sheet_of(folder: Path, body: str, memory: str, model: str = DOOR) -> Sheet:
    loaded = load(write_model(folder / "door", model, program(body, memory)))
    return make_sheet(loaded, catalogue()["reference"](), Limits())


def showing(sheet: Sheet, goal: str) -> Row:
    return next(row for row in sheet.rows if goal in row.covers)


DISCREPANCY = "late(IN := shut_a XOR shut_b, PT := T#500ms); alarm := late.Q;"


def test_an_alarm_behind_a_timer_is_a_row_and_not_impossible(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, DISCREPANCY + " green := shut_a;", "late : TON;")
    wanted = {"term alarm shut_a", "term alarm shut_b", "fault W1", "lamp alarm on"}
    assert wanted <= sheet.covered
    assert sheet.impossible == set()
    row = showing(sheet, "term alarm shut_b")
    assert sheet.expected[row.number - 1].changes["alarm"] == "TRUE"


def test_an_alarm_behind_a_memory_is_a_row(tmp_path: Path) -> None:
    # The alarm follows what differed one scan before, so the next scan alone never shows it.
    body = "alarm := differed; differed := shut_a XOR shut_b; green := shut_a;"
    sheet = sheet_of(tmp_path, body, "differed : BOOL;")
    assert {"term alarm shut_a", "term alarm shut_b", "lamp alarm on"} <= sheet.covered
    assert sheet.impossible == set()


def test_a_fault_that_only_a_late_alarm_tells_is_a_row(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, DISCREPANCY + " green := shut_b;", "late : TON;")
    assert "fault W1" in sheet.covered


def test_an_alarm_that_needs_a_counted_time_is_a_row(tmp_path: Path) -> None:
    # 6 s at 10 ms a scan are more scans than a program without timers takes to come to rest.
    counted = DOOR.replace("plant:", "run: {timers: counted, scan_ms: 10}\nplant:")
    body = DISCREPANCY.replace("500ms", "6s") + " green := shut_a;"
    sheet = sheet_of(tmp_path, body, "late : TON;", counted)
    assert {"term alarm shut_b", "lamp alarm on"} <= sheet.covered


def test_timers_run_out_in_the_order_of_their_times(tmp_path: Path) -> None:
    # The slow timer is declared first; the quick one stops it before its time is up.
    body = (
        "slow(IN := shut_a XOR shut_b AND NOT quick.Q, PT := T#30s);"
        "quick(IN := shut_a XOR shut_b, PT := T#1s); alarm := alarm OR slow.Q; green := quick.Q;"
    )
    body = body.replace("shut_a XOR shut_b AND", "(shut_a XOR shut_b) AND")
    sheet = sheet_of(tmp_path, body, "slow : TON; quick : TON;")
    row = showing(sheet, "term green shut_a")
    assert sheet.expected[row.number - 1].changes == {"green": "TRUE"}
    assert "lamp alarm on" not in sheet.covered


BLINKER = (
    "dark(IN := (shut_a XOR shut_b) AND NOT lit.Q, PT := T#500ms);"
    " lit(IN := dark.Q, PT := T#500ms);"
    " alarm := dark.Q; green := shut_a AND shut_b;"
)


def test_a_lamp_that_flashes_is_asked_as_flashing(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, BLINKER, "dark : TON; lit : TON;")
    assert "lamp alarm flashing" in sheet.covered
    row = showing(sheet, "lamp alarm flashing")
    said = seen_says(sheet.expected[row.number - 1])
    assert "alarm flashing" in said.split(";")[0]
    assert "flashing: alarm" in said
    assert "term alarm shut_a" in sheet.covered
    assert "lamp alarm on" in sheet.covered, "it is never seen on without flashing"
    assert not sheet.open


def test_a_lamp_that_changes_in_every_scan_is_not_asked_by_its_parity(tmp_path: Path) -> None:
    body = "alarm := (shut_a XOR shut_b) AND NOT alarm; green := shut_a;"
    sheet = sheet_of(tmp_path, body, "late : TON;")
    row = showing(sheet, "term alarm shut_b")
    assert sheet.expected[row.number - 1].changes["alarm"] == "flashing"
    assert "lamp alarm flashing" in sheet.covered


def test_what_depends_on_the_moment_is_open_and_no_row(tmp_path: Path) -> None:
    # Opening the door keeps the green lamp as the blinking alarm has it at that instant.
    body = "alarm := NOT alarm; IF NOT shut_a AND was THEN green := alarm; END_IF; was := shut_a;"
    sheet = sheet_of(tmp_path, body, "was : BOOL := TRUE;")
    assert not any("move door: shut to open" in (*row.prepare, row.move) for row in sheet.rows)
    assert "move door: shut to open" in sheet.open
    assert "depends on the moment" in sheet.open["move door: shut to open"]


def test_what_no_situation_shows_is_impossible_though_memory_takes_part(tmp_path: Path) -> None:
    body = "seen := shut_a; alarm := late AND NOT late; late := seen; green := shut_a;"
    sheet = sheet_of(tmp_path, body, "seen, late : BOOL;")
    assert {"term alarm shut_a", "lamp alarm on"} <= sheet.impossible | {"term alarm shut_a"}
    assert "lamp alarm on" in sheet.impossible


def test_what_shows_only_in_passing_is_open(tmp_path: Path) -> None:
    # The lamp is on for half a second behind an edge and gone once all has come to rest.
    body = "once(IN := shut_a, PT := T#500ms); green := once.Q; alarm := shut_a XOR shut_b;"
    sheet = sheet_of(tmp_path, body, "once : TP;")
    assert "lamp green on" in sheet.open
    assert "in passing" in sheet.open["lamp green on"]
