"""Models with several controllers: how they are wired, what is refused, what messages mean."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError, InternalError
from interlock.cli.main import run
from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.model.build import FAULT_FREE, RunClass
from interlock.model.load import load
from interlock.model.model import Model

LEFT = """\
PROGRAM Left
VAR_INPUT key : BOOL; END_VAR
VAR_OUTPUT go, lamp : BOOL; level : INT (0..3); END_VAR
go := key; lamp := key; IF key THEN level := 3; ELSE level := 0; END_IF;
END_PROGRAM
"""
RIGHT = """\
PROGRAM Right
VAR_INPUT key, heard, alive : BOOL; END_VAR
VAR_OUTPUT motor, lamp : BOOL; END_VAR
VAR last : BOOL; END_VAR
motor := heard AND alive; lamp := heard; last := key;
END_PROGRAM
"""
YAML = """\
title: Two
run: {between_scans: any number}
controllers:
  left: {program: left.st}
  right: {program: right.st}
controls: {key: {}}
sensors:
  key: {reads: key}
  heard: {reads: go}
  alive: {reads: NOT lost}
terms:
  lamp: left.lamp OR right.lamp
requirements:
  FOLLOWS: {says: as read, never: motor AND NOT go, judged: after scan of right}
  STOPS: {says: stops, whenever: NOT go, leads_to: NOT motor OR go}
  INSIDE: {says: inside, never: right.last AND NOT key, judged: after scan of right}
faults:
  lost: {says: the bus is lost, sensor: heard, stuck: frozen}
"""


def written(folder: Path, *changes: tuple[str, str]) -> Path:
    texts = {"left.st": LEFT, "right.st": RIGHT, "model.yaml": YAML}
    for right, wrong in changes:
        (name,) = [name for name, text in texts.items() if right in text][:1]
        texts[name] = texts[name].replace(right, wrong)
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def model(folder: Path, *changes: tuple[str, str]) -> Model:
    return load(written(folder, *changes))


def outcomes(loaded: Model, run_class: RunClass = FAULT_FREE) -> dict[str, str]:
    found = verify(loaded, catalogue()["enumerate"](), run_class).findings
    return {finding.requirement.id: finding.verdict.outcome.value for finding in found}


def test_names_are_those_of_the_model(tmp_path: Path) -> None:
    loaded = model(tmp_path)
    assert set(loaded.outputs) == {"go", "left.lamp", "level", "motor", "right.lamp"}
    assert set(loaded.sensors) == {"key", "heard", "alive"}
    ages = {name: sensor.age for name, sensor in loaded.sensors.items()}
    assert ages == {"key": 0, "heard": 1, "alive": 0}


def test_nobody_gets_a_program_who_believes_that_there_is_one(tmp_path: Path) -> None:
    loaded = model(tmp_path)
    for asked in (loaded.program, loaded.settings, loaded.project):
        with pytest.raises(InternalError, match="the model has several"):
            asked.anything  # type: ignore[union-attr]  # noqa: B018


def test_a_message_may_be_as_old_as_a_scan_unless_scans_never_overlap(tmp_path: Path) -> None:
    said = {"FOLLOWS": "violated", "STOPS": "holds", "INSIDE": "holds"}
    assert outcomes(model(tmp_path)) == said
    in_time = model(tmp_path, ("heard: {reads: go}", "heard: {reads: go, age: 0 scans}"))
    assert outcomes(in_time) == {**said, "FOLLOWS": "holds"}


def test_a_lost_message_stays_and_its_flag_says_so(tmp_path: Path) -> None:
    lost = RunClass(("lost",), 1)
    assert outcomes(model(tmp_path), lost)["STOPS"] == "holds"
    heedless = model(tmp_path, ("heard AND alive", "heard OR alive AND heard"))
    assert outcomes(heedless, lost)["STOPS"] == "violated"


def test_who_stands_still_stops_nothing_else(tmp_path: Path) -> None:
    loaded = model(
        tmp_path,
        ("left: {program: left.st}", "left: {program: left.st, scans_while: NOT dead}"),
        ("right: {program: right.st}", "right: {program: right.st, scans_while: NOT dead}"),
        ("faults:\n", "faults:\n  dead: {says: no supply}\n"),
        ("controls:", "plant: {m: {states: [a, b, c], moves: [{from: a, to: b, when: dead}, "
                      "{from: b, to: c}, {from: c, to: a}]}}\ncontrols:"),
        ("any number", "one in all"),
        ("requirements:", "requirements:\n  C: {says: c, never: m = c AND key}"),
    )  # fmt: skip
    assert outcomes(loaded, RunClass(("dead",), 1))["C"] == "violated"


REFUSED = {
    "two writers": (
        [("  lamp: left.lamp OR right.lamp\n", "  other: key\n")],
        "the output 'lamp' is written by left and right; say in 'terms' what becomes of it, "
        "such as 'lamp: left.lamp OR right.lamp'",
    ),
    "one alone": (
        [("  left: {program: left.st}\n", "")],
        "one controller is given as 'controller: FILE'; 'controllers' has two or more",
    ),
    "both keys": (
        [("controllers:", "controller: left.st\ncontrollers:")],
        "give 'controller' or 'controllers', not both",
    ),
    "a bound": (
        [("leads_to: NOT motor OR go}", "leads_to: NOT motor OR go, within: 3 scans}")],
        "a bound counts scans, and of several controllers none has the next one for sure; leave "
        "'within' out, or give a time and 'run: time'",
    ),
    "an unknown controller": (
        [("after scan of right}\n  STOPS", "after scan of rigth}\n  STOPS")],
        "'rigth' is not a controller; did you mean 'right'?",
    ),
    "a number that may be late": (
        [("heard, alive : BOOL;", "alive : BOOL; heard : INT (0..3);"),
         ("heard AND alive", "heard > 0"), ("lamp := heard", "lamp := key"),
         ("{reads: go}", "{reads: level}"),
         ("sensor: heard, stuck: frozen", "sensor: key, stuck: 'TRUE'")],
        "'heard' comes from another controller, which may be late, and only a BOOL can be; leave "
        "'reads' out, so that it has any value, or say 'age: 0 scans' where their scans never "
        "overlap",
    ),
    "an input called like an output": (
        [("heard, alive : BOOL;", "heard, alive, go : BOOL;")],
        "'go' is an input of right and an output of another controller; if it is that signal, give "
        "a sensor 'go' that reads it",
    ),
    "a late signal that two read": (
        [("key: {reads: key}", "key: {reads: key, age: 1 scan}")],
        "several controllers read 'key', and it comes late to each on its own; give each a sensor "
        "of its own, such as NAME.key",
    ),
    "a restart of nobody": (
        [("sensor: heard, stuck: frozen", "restart: true")],
        "lost: say at which of the controllers: 'controllers: [left, right]'",
    ),
    "a wide free input": (
        [("heard, alive : BOOL;", "heard, alive : BOOL; n : INT;"),
         ("lamp := heard", "lamp := n > 7")],
        "'n' has no sensor in the model, and beside several controllers an input with more than 8 "
        "values is never free; give it a sensor, or declare it with a range",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("changes", "says"), REFUSED.values(), ids=REFUSED)
def test_what_has_no_meaning_is_one_line(
    tmp_path: Path, changes: list[tuple[str, str]], says: str
) -> None:
    with pytest.raises(InputError) as caught:
        model(tmp_path, *changes)
    assert says in [mistake.says for mistake in caught.value.mistakes]


def test_globals_in_a_file_of_two_tasks_are_refused(tmp_path: Path) -> None:
    shared = "VAR_GLOBAL speed : BOOL; END_VAR\n"
    (tmp_path / "shared.st").write_text(shared, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        model(
            tmp_path,
            ("{program: left.st}", "{program: [left.st, shared.st]}"),
            ("{program: right.st}", "{program: [right.st, shared.st]}"),
        )
    (mistake,) = caught.value.mistakes
    assert mistake.says.startswith("'speed' is a global in a file of both left and right")


def test_what_need_never_be_judged_demands_nothing(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no scan comes that it is judged after"):
        model(
            tmp_path,
            ("right: {program: right.st}", "right: {program: right.st, scans_while: NOT lost}"),
            ("never: motor AND NOT go", "exists: motor"),
        )


@pytest.mark.parametrize(("arguments", "who"), [
    (["draw"], "'draw'"), (["report"], "'report'"), (["challenge"], "'challenge'"),
    (["advise"], "'advise'"), (["operate"], "'operate'"), (["rehearse"], "'rehearse'"),
    (["testsheet"], "'testsheet'"), (["export", "--as", "st"], "'export'"),
])  # fmt: skip
def test_who_does_not_know_of_several_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], who: str
) -> None:
    assert run([arguments[0], str(written(tmp_path)), *arguments[1:]]) == 2
    assert f"{who} cannot take several controllers" in capsys.readouterr().err


def test_neither_does_a_comparison(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = str(written(tmp_path))
    assert run(["compare", folder, folder]) == 2
    assert "'compare' cannot take several controllers" in capsys.readouterr().err


def test_the_whole_command_takes_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", str(written(tmp_path))]) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert "left and right scan in any order, any number of times" in out
