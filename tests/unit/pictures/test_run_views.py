"""Runs as pictures: what changes is drawn where it changes, and nothing is left out."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from interlock.engines import catalogue
from interlock.independent_judge.judge import Replayed
from interlock.independent_judge.player import Player
from interlock.judgement.verify import verify
from interlock.model.load import load
from interlock.model.model import Model
from interlock.pictures.frames import draw_sheet, frames_of_conversions, frames_of_run
from interlock.pictures.side_view import SideView
from interlock.pictures.signals import Signal
from interlock.pictures.timing import LETTERS, draw_timing

MODELS = Path(__file__).parents[3] / "models"
SVG = "{http://www.w3.org/2000/svg}"

Run = tuple[Model, Replayed]


@pytest.fixture(scope="module")
def wren() -> Model:
    return load(MODELS / "wren")


@pytest.fixture(scope="module")
def run() -> Run:
    model = load(MODELS / "ramp-broken" / "pin-alone")
    found = verify(model, catalogue()["reference"](), only=["R1"]).findings[0].run
    assert found is not None
    return model, found


def played(model: Model, *moves: str, loop_start: int | None = None) -> Replayed:
    player = Player(model)
    return Replayed(tuple(player.play(move) for move in moves), loop_start)


def texts(svg: str) -> list[str]:
    return [element.text or "" for element in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def rows(svg: str) -> set[str]:
    """The names of a diagram's rows; all of them begin at the same place."""
    found = ElementTree.fromstring(svg).iter(f"{SVG}text")
    return {element.text or "" for element in found if element.get("x") == "24"}


def test_a_timing_diagram_has_a_row_for_all_that_changes_and_for_nothing_else(run: Run) -> None:
    model, found = run
    changed = {change.name for happening in found.happenings for change in happening.changes}
    assert rows(draw_timing(model, found, "a run")) == changed
    assert "raise_valve" not in changed


def test_with_every_signal_there_is_a_row_for_each(run: Run) -> None:
    model, found = run
    every = {*model.machines, *model.outputs, *model.sensors}
    assert rows(draw_timing(model, found, "t", every=True)) == every


def test_columns_carry_the_numbers_and_the_people_of_the_steps(run: Run) -> None:
    model, found = run
    words = texts(draw_timing(model, found, "a run"))
    letters = [word for word in words if word in LETTERS.values()]
    told = [h for h in found.happenings if h.changes or h is found.happenings[-1]]
    assert letters == [LETTERS[happening.kind] for happening in told]


def test_the_lines_that_decided_stand_below_with_the_programs_own_text(run: Run) -> None:
    model, found = run
    words = texts(draw_timing(model, found, "a run"))
    decided = [d for h in found.happenings if h.scan is not None for d in h.scan.decided]
    assert decided
    program = model.sources[model.program.place.file].split("\n")
    for decision in decided:
        assert f"controller.st:{decision.place.line}" in words
        assert program[decision.place.line - 1].strip() in words


def test_a_statement_of_several_lines_is_shown_to_its_end(wren: Model) -> None:
    diagram = draw_timing(wren, played(wren, "scan", "lead: STOWED to LOOSE", "scan"), "t")
    [buzzer] = [word for word in texts(diagram) if word.startswith("buzzer :=")]
    assert buzzer.endswith(";")
    assert "rolling AND NOT" in buzzer


def test_an_input_that_lies_has_a_row_that_says_so(wren: Model) -> None:
    diagram = draw_timing(wren, played(wren, "scan", "F12 strikes", "scan"), "t")
    assert {"F12", "xfer_a"} <= rows(diagram)
    assert "lies" in texts(diagram)
    assert "xfer_b" not in rows(diagram)


def test_an_endless_part_is_marked_and_a_violation_at_the_end_is_framed(run: Run) -> None:
    model, found = run
    endless = played(model, "scan", "panel to START", "scan", "panel to NONE", "scan", loop_start=1)
    assert "for ever" in texts(draw_timing(model, endless, "t"))
    assert "for ever" not in texts(draw_timing(model, found, "a run"))
    assert 'stroke-dasharray="5 3"' in draw_timing(model, found, "a run")


def test_stretches_without_a_change_are_found_as_a_whole() -> None:
    signal = Signal("lift", "plant", ("DOWN", "DOWN", "UP", "DOWN"), False, (False,) * 4)
    assert list(signal.runs) == [(0, 2, "DOWN"), (2, 1, "UP"), (3, 1, "DOWN")]


def test_a_run_has_a_frame_for_each_step_that_can_be_seen(run: Run) -> None:
    model, found = run
    frames = frames_of_run(model, found)
    told = [n for n, h in enumerate(found.happenings, 1) if h.changes]
    assert [frame.number for frame in frames] == [0, *told]
    assert [frame.mark for frame in frames] == [""] * len(told) + ["VIOLATED"]
    assert frames[-1].values["vehicle"] == "driving"


def test_a_sheet_shows_every_frame_with_ids_of_its_own(run: Run) -> None:
    model, found = run
    frames = frames_of_run(model, found)
    sheet = draw_sheet(SideView(model), frames, "A & B")
    root = ElementTree.fromstring(sheet)
    assert len(root.findall(f"{SVG}svg")) == len(frames)
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    for target in re.findall(r'href="#([^"]+)"', sheet):
        assert target in ids


def test_conversions_have_a_frame_for_each_configuration_and_tell_where_they_arrive() -> None:
    model = load(MODELS / "ramp")
    there = ["scan", "panel to START", "scan", "panel to LOWER", "scan"]
    there += ["pin: in to out", "scan", "ramp: stowed to between", "scan"]
    back = ["panel to RAISE", "scan", "ramp: between to stowed", "scan"]
    frames = frames_of_conversions(model, [("goal A", there), ("goal B", back)])
    assert [frame.head.split("  ")[1] for frame in frames] == [
        "ramp stowed, pin in, vehicle parked",
        "ramp stowed, pin out, vehicle parked",
        "ramp between, pin out, vehicle parked",
        "ramp between, pin out, vehicle parked",
        "ramp stowed, pin out, vehicle parked",
    ]
    assert [frame.mark for frame in frames] == [
        *("", "", "arrived: goal A", "", "arrived: goal B"),
    ]
    assert frames[1].says == "the solenoid pulls the pin"


def last_level(svg: str, row: str) -> str:
    """Whether the line of `row` ends high or low."""
    root = ElementTree.fromstring(svg)
    parts = list(root)
    at = next(n for n, e in enumerate(parts) if e.get("x") == "24" and e.text == row)
    top = float(parts[at].get("y") or 0) - 12
    path = next(e for e in parts[at + 1 :] if e.tag == f"{SVG}path" and e.get("fill") == "none")
    end = float((path.get("d") or "").split()[-1])
    return "high" if abs(end - top) < 1 else "low"


def test_what_a_requirement_forbids_is_a_row_that_is_high_where_it_is_violated(run: Run) -> None:
    model, found = run
    diagram = draw_timing(model, found, "t", requirement="R1")
    assert last_level(diagram, "forbidden") == "high"
    assert last_level(diagram, "pump") == "low"
    assert "vehicle = driving AND NOT secured" in texts(diagram)


@pytest.mark.parametrize(
    ("id_", "expected"),
    [("R2", {"demanded", "applies where"}), ("R6", {"trigger", "response"}), ("R8", {"goal"})],
)
def test_each_pattern_has_rows_for_its_conditions(id_: str, expected: set[str], run: Run) -> None:
    model, found = run
    diagram = draw_timing(model, found, "t", requirement=id_)
    assert rows(diagram) - rows(draw_timing(model, found, "a run")) >= expected
