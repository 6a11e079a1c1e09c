"""Controls held all at once: said in a procedure, performed, and deviated from."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.rehearse.results import Class, Rehearsal
from interlock.model.between import BY_DEFAULT
from interlock.model.build import build
from tests.support.hatch import found, rehearsed

PRESS = """\
title: A press for two hands
controller: controller.st
plant:
  ram:
    states: [UP, DOWN]
    moves:
      - {from: UP, to: DOWN, when: close, says: the ram comes down}
      - {from: DOWN, to: UP, when: NOT close AND NOT held, says: the ram goes up}
controls:
  left: {says: the left button}
  right: {says: the right button}
  side: {says: the side lever, positions: [REST, SLOW, FAST], released: REST}
sensors:
  l: {reads: left}
  r: {reads: right}
outputs: {held: {says: the latch}}
requirements:
  R1: {says: never down with a hand free, never: ram = DOWN AND NOT held}
"""
PROGRAM = """\
PROGRAM Press
VAR_INPUT l, r : BOOL; END_VAR
VAR_OUTPUT close, held : BOOL; END_VAR
close := l AND r;
held := l OR r OR held;
END_PROGRAM
"""
PROCEDURE = """\
goal: ram = UP
procedures:
  press:
    says: Press a part
    starts: ram = UP
    ends: ram = DOWN
    steps:
      - {id: down, says: Hold both until it is down, who: operator,
         hold: {left: 'TRUE', right: 'TRUE'}, done: ram = DOWN, observer: operator,
         seconds: [1, 2], assumed: true}
"""


def press(
    folder: Path,
    hold: str = "{left: 'TRUE', right: 'TRUE'}",
    changed: tuple[str, str] = ("", ""),
) -> Path:
    folder.mkdir()
    (folder / "model.yaml").write_text(
        PRESS.replace(*changed) if changed[0] else PRESS, encoding="utf-8"
    )
    (folder / "controller.st").write_text(PROGRAM, encoding="utf-8")
    text = PROCEDURE.replace("{left: 'TRUE', right: 'TRUE'}", hold)
    (folder / "procedures.yaml").write_text(text, encoding="utf-8")
    return folder


def outcomes(rehearsal: Rehearsal) -> dict[str, Class]:
    return {r.deviations[0].says: r.outcome for r in rehearsal.rehearsed[0].singles}


def test_what_takes_both_hands_surely_ends_with_both_and_not_with_one(tmp_path: Path) -> None:
    both = rehearsed(press(tmp_path / "both")).rehearsed[0]
    assert [step.inevitable for step in both.steps] == [True]
    one = rehearsed(press(tmp_path / "one", "{left: 'TRUE'}")).rehearsed[0]
    assert [step.executable for step in one.steps] == [False]


def test_each_of_the_two_may_be_left_out_or_let_go_early(tmp_path: Path) -> None:
    found_ = outcomes(rehearsed(press(tmp_path / "press")))
    for button in ("the left button", "the right button"):
        assert found_[f"{button} is not held in 'Hold both until it is down'"] is Class.BLOCKED
        assert f"{button} is let go early in 'Hold both until it is down'" in found_
    assert "a second person holds the left button during" not in " ".join(found_)


def test_they_are_pressed_in_order_and_let_go_from_the_last_but_for_who_lets_one_go_early(
    tmp_path: Path,
) -> None:
    never = ("never: ram = DOWN AND NOT held", "never: right AND NOT left")
    rehearsal = rehearsed(press(tmp_path / "press", changed=never))
    assert rehearsal.rehearsed[0].requirement is None
    violating = {
        result.deviations[0].says.split(" is ")[0]
        for result in found(rehearsal, "released early", "down")
        if result.outcome is Class.VIOLATING
    }
    assert violating == {"the left button"}


# As ISO 13851 has it for type III, with two scans in place of 0.5 s: only hands that come together
# start it, and whoever is too late begins anew.
LAGGING = """\
PROGRAM Press
VAR_INPUT l, r : BOOL; END_VAR
VAR_OUTPUT close, held, at_once : BOOL; END_VAR
VAR alone : INT (0..3); END_VAR
IF l AND r THEN
  at_once := at_once OR alone = 0 AND NOT held;
  close := close OR alone <= 2;
ELSE
  close := FALSE;
  alone := SEL(l OR r, 0, MIN(alone + 1, 3));
END_IF;
held := l OR r OR held;
END_PROGRAM
"""


@pytest.mark.parametrize("between", ["each once", "one in all"])
def test_two_hands_may_come_in_one_scan_by_default_and_may_come_too_late_in_any_case(
    tmp_path: Path, between: str
) -> None:
    run_ = "" if between == BY_DEFAULT else f"run: {{between_scans: {between}}}\n"
    changed = ("never: ram = DOWN AND NOT held", "never: at_once")
    folder = press(tmp_path / "press", changed=changed)
    yaml = (folder / "model.yaml").read_text(encoding="utf-8")
    (folder / "model.yaml").write_text(
        yaml.replace("plant:\n", f"{run_}plant:\n"), encoding="utf-8"
    )
    (folder / "controller.st").write_text(LAGGING, encoding="utf-8")
    rehearsal = rehearsed(folder).rehearsed[0]
    (down,) = rehearsal.steps
    # Hands come when they come, and no scan waits for the second.
    assert (down.executable, down.inevitable) == (True, False)
    # Both before one scan are two moves, which one in all leaves no room for.
    assert rehearsal.requirement == ("R1" if between == "each once" else None)


def test_breaking_off_lets_go_of_what_was_pressed(tmp_path: Path) -> None:
    rehearsal = rehearsed(press(tmp_path / "press"))
    (broken,) = found(rehearsal, "broken off", "down")
    assert broken.stand is not None
    system = build(rehearsal.model).system
    assert system.named(broken.stand.state)["left"] == 0
    assert broken.outcome in (Class.BLOCKED, Class.RECOVERABLE)


@pytest.mark.parametrize(
    ("hold", "said"),
    [
        ("[left, right]", "expected controls with the position of each, {panel: RAISE} for one"),
        ("left", "for two at once"),
        ("{side: [SLOW, FAST]}", "side can be held in one position at a time; a second one takes"),
        ("{left: 'TRUE', rigt: 'TRUE'}", "did you mean 'right'?"),
        ("{left: 'TRUE', side: REST}", "side cannot be held in REST: no spring takes it back"),
    ],
)
def test_what_cannot_be_held_is_told_with_its_place(
    tmp_path: Path, hold: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["rehearse", str(press(tmp_path / "press", hold))]) == 2
    told = capsys.readouterr().err
    assert "procedures.yaml:9:" in told
    assert said in told
