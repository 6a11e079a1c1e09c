"""The commissioning sheet: what it shows, what it cannot, and that others measure it."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.commands.testsheet.goals import force_of, is_injectable
from interlock.commands.testsheet.measure import measure
from interlock.commands.testsheet.results import cells, read_results
from interlock.commands.testsheet.rows_in_words import COLUMNS, table
from interlock.commands.testsheet.sheet import After, Do, Sheet
from interlock.commands.testsheet.study import make_sheet
from interlock.engines import catalogue
from interlock.kernel.query import Limits
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import GATE_ST, GATE_YAML
from tests.support.models import shipped

# A hatch with a latched alarm: what is kept over a restart, a redundant term, every sort of fault.
HATCH = """
title: A hatch with an alarm that latches
controller: controller.st
plant:
  hatch:
    states: [shut, open]
    moves: [{from: shut, to: open, when: drive}, {from: open, to: shut, when: NOT drive}]
controls: {button: {}, alarm_test: {}}
sensors:
  hatch_a: {reads: hatch = shut, pair: hatch_b}
  hatch_b: {reads: hatch <> shut, pair: hatch_a}
  pressed: {reads: button}
outputs: {drive: {}, lamp: {lamp: green}, alarm: {lamp: red}}
requirements: {Q1: {says: Never both lamps, never: lamp AND alarm}}
faults:
  W1: {says: wire of the hatch switch broken, sensor: hatch_a, stuck: FALSE}
  W2: {says: both hatch channels lost, sensors: {hatch_a: 'TRUE', hatch_b: 'TRUE'}}
  W3: {says: lamp wire broken, output: lamp, stuck: FALSE}
  W4: {says: drive relay welded, output: drive, stuck: TRUE}
  W5: {says: hatch jams, machine: hatch}
  W6: {says: supply dips, restart: true}
  W7: {says: button frozen, sensor: pressed, stuck: frozen}
  W8: {says: excluded, sensor: pressed, stuck: TRUE, excluded: by construction}
"""
HATCH_PROGRAM = """PROGRAM Hatch
VAR_INPUT hatch_a, hatch_b, pressed : BOOL; END_VAR
VAR_OUTPUT drive, lamp, alarm : BOOL; END_VAR
VAR RETAIN tripped : BOOL; END_VAR
VAR late : TON; END_VAR
late(IN := hatch_a = hatch_b, PT := T#500ms);
IF late.Q THEN tripped := TRUE; END_IF;
drive := pressed AND NOT tripped;
lamp := hatch_a AND NOT tripped AND (hatch_a OR pressed);
alarm := tripped;
END_PROGRAM
"""


def written(folder: Path, model: str = HATCH, program: str = HATCH_PROGRAM) -> Model:
    folder.mkdir(exist_ok=True)
    (folder / "model.yaml").write_text(model, encoding="utf-8")
    (folder / "controller.st").write_text(program, encoding="utf-8")
    return load(folder)


@pytest.fixture
def hatch(tmp_path: Path) -> Model:
    return written(tmp_path / "hatch")


@cache
def ramp_sheet() -> Sheet:
    return make_sheet(shipped("ramp"), catalogue()["reference"]())


def sheet_of(model: Model, limits: Limits = Limits()) -> Sheet:
    return make_sheet(model, catalogue()["reference"](), limits)


def test_every_goal_of_the_ramp_is_shown_from_one_start() -> None:
    sheet = ramp_sheet()
    assert sheet.covered == {goal.id for goal in sheet.goals}
    assert not sheet.open
    assert not sheet.impossible
    assert sheet.n_sequences == 1
    assert "term green pin_in" in sheet.covered
    assert "move ramp: between to lowered" in sheet.covered


def test_a_sheet_is_no_shorter_than_its_bounds_and_shorter_than_one_goal_at_a_time() -> None:
    sheet = ramp_sheet()
    # So for the ramp no sheet has fewer rows at the terminals.
    assert sheet.n_least_rows == sheet.n_forced
    assert sheet.n_least_moves <= sheet.n_moves < sheet.n_moves_one_by_one


def test_the_same_model_gives_the_same_sheet() -> None:
    assert table(sheet_of(shipped("ramp"))) == table(ramp_sheet())


def test_no_row_that_leaves_all_as_it_was_could_be_struck_out() -> None:
    sheet = ramp_sheet()
    for row in sheet.rows:
        if row.force is not None:
            assert row.after is not After.NOTHING
            shown_elsewhere = {g for other in sheet.rows if other is not row for g in other.shows}
            is_needed = bool(set(row.shows) - shown_elsewhere)
            expected = sheet.expected[row.number - 1]
            assert is_needed or expected.remains


def test_coverage_is_measured_and_falls_with_a_program_that_does_not_ask() -> None:
    """The broken program does not ask the end stop: the same rows show that."""
    sheet = ramp_sheet()
    broken = shipped("ramp-broken/pin-alone")
    kept: list[str] = []
    for found in measure(shipped("ramp"), sheet.rows, sheet.goals):
        kept += found.shown
    assert "term green ramp_home" in kept
    shown = {
        goal for found in measure(broken, sheet.rows[:20], sheet.goals) for goal in found.shown
    }
    assert "term green pin_in" in shown
    assert "term green ramp_home" not in shown


def test_hours_that_nobody_reads_keep_no_row_from_coming_to_rest(tmp_path: Path) -> None:
    block = (
        "FUNCTION_BLOCK Hours VAR_INPUT on : BOOL; END_VAR VAR n : UDINT; mean : REAL; END_VAR\n"
        "IF on THEN n := n + 1; END_IF\nmean := UDINT_TO_REAL(n);\nEND_FUNCTION_BLOCK\n"
    )
    calls = "VAR hours : Hours; END_VAR\ndrive := pressed;\nhours(on := drive);"
    counting = block + GATE_ST.replace("drive := pressed;", calls)
    sheet = sheet_of(written(tmp_path / "hours", GATE_YAML, counting))
    plain = sheet_of(written(tmp_path / "plain", GATE_YAML, GATE_ST))
    # Behind the first cell, which tells the programs apart.
    assert [row[1:] for row in table(sheet)] == [row[1:] for row in table(plain)]


def test_what_no_state_can_show_is_impossible_by_exploration(hatch: Model) -> None:
    sheet = sheet_of(hatch)
    # A AND (A OR B) does not ask B.
    assert sheet.impossible >= {"term lamp pressed"}
    assert "term lamp hatch_a" in sheet.covered


def test_what_a_limit_cut_short_is_open_and_never_impossible(hatch: Model) -> None:
    sheet = sheet_of(hatch, Limits(max_states=3))
    assert not sheet.impossible
    assert sheet.open
    assert all("undecided: states 3" in reason for reason in sheet.open.values())


def test_wires_and_the_supply_can_be_injected_and_what_sits_inside_cannot(hatch: Model) -> None:
    assert {i for i, f in hatch.faults.items() if is_injectable(f)} == {"W1", "W2", "W3", "W6"}
    assert sheet_of(hatch).not_injectable == ("W4", "W5", "W7", "W8")


def test_every_injectable_fault_of_the_hatch_is_seen(hatch: Model) -> None:
    sheet = sheet_of(hatch)
    assert {"fault W1", "fault W2", "fault W3"} <= sheet.covered
    forced = [row.force for row in sheet.rows]
    assert force_of(hatch.faults["W3"]) in forced


def test_a_latched_alarm_is_followed_by_a_cold_start(hatch: Model) -> None:
    rows = [row for row in sheet_of(hatch).rows if row.do is Do.FORCE and row.force is not None]
    latching = [r for r in rows if r.force is not None and r.force.single in ("hatch_a", "hatch_b")]
    assert latching
    assert all(row.after is After.COLD_START for row in latching)


def test_what_is_latched_but_not_retained_takes_a_restart(tmp_path: Path) -> None:
    sheet = sheet_of(written(tmp_path / "plain", program=HATCH_PROGRAM.replace("RETAIN ", "")))
    afters = {row.after for row in sheet.rows if row.force is not None}
    assert afters == {After.RESTORE, After.RESTART}
    # The alarm is never on without a fault, and is seen all the same with a wire open.
    assert "lamp alarm on" in sheet.covered - sheet.impossible


def test_a_model_may_say_what_can_be_injected(tmp_path: Path) -> None:
    word = HATCH.replace("stuck: TRUE}\n  W5", "stuck: TRUE, injectable: true}\n  W5")
    model = written(
        tmp_path / "told", word.replace("broken, sensor", "broken, injectable: false, sensor")
    )
    assert is_injectable(model.faults["W4"])
    assert not is_injectable(model.faults["W1"])


def test_only_what_acts_on_terminals_can_be_called_injectable(tmp_path: Path) -> None:
    word = HATCH.replace("machine: hatch}", "machine: hatch, injectable: true}")
    with pytest.raises(InputError, match="W5: only what a fault does to signals, outputs or"):
        written(tmp_path / "wrong", word)


def test_what_is_not_on_or_off_is_told_as_not_asked(tmp_path: Path) -> None:
    word = HATCH.replace(
        "pressed: {reads: button}", "pressed: {reads: button}\n  level: {reads: 3}"
    )
    program = HATCH_PROGRAM.replace("pressed : BOOL;", "pressed : BOOL; level : INT(0..7);")
    assert sheet_of(written(tmp_path / "level", word, program)).left_out == ("level",)


def filled(folder: Path, change: dict[int, tuple[str, str]] | None = None) -> Path:
    """The ramp's sheet with 'pass' in every row, but for those in `change`."""
    lines = [",".join(COLUMNS)]
    for cells_of_row in table(ramp_sheet()):
        number = int(cells_of_row[1])
        result, remark = (change or {}).get(number, ("pass", ""))
        row = (*cells_of_row[:-2], result, remark)
        lines.append(",".join('"' + cell.replace('"', '""') + '"' for cell in row))
    file = folder / "filled.csv"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def test_results_are_read_back_with_what_was_shown_and_what_is_open(tmp_path: Path) -> None:
    sheet = ramp_sheet()
    everything = read_results(sheet, filled(tmp_path))
    assert everything.shown == sheet.covered
    assert not everything.missing
    only = next(row for row in sheet.rows if "term green pin_in" in row.shows)
    some = read_results(
        sheet, filled(tmp_path, {only.number: ("fail", "lamp stays lit"), 2: ("", "")})
    )
    assert [row.number for row in some.failed] == [only.number]
    assert [row.number for row in some.undone] == [2]
    assert some.remarks == ((only.number, "lamp stays lit"),)
    assert "term green pin_in" in some.missing


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"pass",""\n', '"yes",""\n', r"filled\.csv:2:\d+: 'yes' is no result: pass, fail or"),
        ("driver: drives off", "driver: parks", r"filled\.csv:2:\d+: 'do' is not what the sheet"),
        ("sheet,row", "blatt,row", r"filled\.csv:1:1: expected the heading of a sheet"),
    ],
)
def test_a_file_that_is_not_this_sheet_is_refused_with_line_and_column(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    file = filled(tmp_path)
    file.write_text(file.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError, match=said):
        read_results(ramp_sheet(), file)


def test_a_part_of_a_sheet_is_refused(tmp_path: Path) -> None:
    file = filled(tmp_path)
    lines = file.read_text(encoding="utf-8").splitlines()
    file.write_text("\n".join(lines[:10]) + "\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"filled\.csv:11:1: row 10 is missing: the sheet has"):
        read_results(ramp_sheet(), file)


def test_another_sheet_is_refused(tmp_path: Path, hatch: Model) -> None:
    with pytest.raises(InputError, match="are of another program and of another model"):
        read_results(sheet_of(hatch), filled(tmp_path))


def test_cells_know_their_places_also_behind_quotations_and_semicolons() -> None:
    rows = list(cells('a;b\n"x;\ny";2\n;3\n'))
    found = [[(cell.text, cell.line, cell.column) for cell in row] for row in rows]
    assert found == [
        [("a", 1, 1), ("b", 1, 3)],
        [("x;\ny", 2, 1), ("2", 3, 4)],
        [("", 4, 1), ("3", 4, 2)],
    ]


def test_a_quotation_that_is_not_closed_is_told_where_it_begins() -> None:
    with pytest.raises(InputError, match="f:2:3: a quotation is not closed"):
        list(cells('a,b\n1,"2\n', "f"))
