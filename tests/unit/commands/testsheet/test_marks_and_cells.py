"""Results count only for the program and the model they are of; no cell is a formula."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.base.spreadsheet import plain, to_csv, understood
from interlock.commands.testsheet import tell
from interlock.commands.testsheet.results import read_results
from interlock.commands.testsheet.sheet import Sheet
from interlock.commands.testsheet.study import make_sheet
from interlock.engines import catalogue
from interlock.model.load import load
from tests.support.small_models import write_model

MODEL = """\
title: A lamp at a door
controller: controller.st
plant:
  door:
    says: '=HYPERLINK("http://evil.example","door")'
    states: [shut, open]
    moves: [{from: shut, to: open, when: NOT lamp}, {from: open, to: shut, when: lamp}]
controls: {button: {says: the button}}
sensors:
  pressed: {reads: button}
outputs: {lamp: {lamp: white}}
requirements: {Q1: {says: door or lamp, never: door = open AND lamp}}
"""
PROGRAM = """\
PROGRAM Lamp
VAR_INPUT pressed : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := pressed;
END_PROGRAM
"""


def sheet_of(folder: Path, model: str = MODEL, program: str = PROGRAM) -> Sheet:
    return make_sheet(load(write_model(folder, model, program)), catalogue()["reference"]())


def filled(folder: Path, sheet: Sheet, remark: str = "") -> Path:
    rows = list(csv.reader(io.StringIO(tell.to_csv(sheet))))
    for row in rows[1:]:
        row[-2:] = ["pass", remark]
    file = folder / "filled.csv"
    with file.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows(rows)
    return file


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("lamp := pressed;", "lamp := pressed AND (pressed OR lamp);", "of another program ("),
        ("never: door = open AND lamp", "never: lamp AND NOT button", "of another model ("),
    ],
)
def test_results_of_another_program_or_model_are_refused_though_the_rows_are_the_same(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    first = sheet_of(tmp_path / "first")
    file = filled(tmp_path, first)
    assert not read_results(first, file).failed
    other = sheet_of(tmp_path / "other", MODEL.replace(old, new), PROGRAM.replace(old, new))
    assert first.rows == other.rows, "the rows alone do not tell the two apart"
    with pytest.raises(InputError) as refused:
        read_results(other, file)
    assert f"filled.csv:2:1: these results are {said}" in str(refused.value)


def test_the_same_files_elsewhere_have_the_same_mark(tmp_path: Path) -> None:
    file = filled(tmp_path, sheet_of(tmp_path / "here"))
    assert read_results(sheet_of(tmp_path / "there"), file).passed


def test_no_cell_of_a_sheet_is_a_formula_and_it_is_read_back(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path / "door")
    rows = list(csv.reader(io.StringIO(tell.to_csv(sheet))))
    cells = [cell for row in rows for cell in row]
    assert any("HYPERLINK" in cell for cell in cells)
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]
    results = read_results(sheet, filled(tmp_path, sheet, remark="'-3 mm of play"))
    assert {remark for _, remark in results.remarks} == {"-3 mm of play"}


def test_a_spreadsheet_may_take_the_apostrophe_off(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path / "door")
    file = filled(tmp_path, sheet)
    text = file.read_text(encoding="utf-8")
    assert "'=HYPER" in text
    file.write_text(text.replace("'=HYPER", "=HYPER"), encoding="utf-8")
    assert read_results(sheet, file).passed


# OWASP, "CSV Injection" (from memory).
@pytest.mark.parametrize("first", ["=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", " =", "'", "'="])
def test_what_could_be_read_as_a_formula_is_plain_text_and_understood_again(first: str) -> None:
    text = first + "1+1"
    assert plain(text) == "'" + text
    assert understood(plain(text)) == text
    assert to_csv([[text, 3]]).startswith(("'", "\"'"))


@pytest.mark.parametrize("text", ["", "door", "1-2", "a=b", "wait until it is open"])
def test_other_text_is_left_alone(text: str) -> None:
    assert plain(text) == understood(text) == text
