"""What belongs to one browser: lessons, sentences, run files."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from interlock.base.errors import InputError, InternalError
from interlock.commands.operate.acts import BadRequestError, perform
from interlock.commands.operate.desk import Desk, ServedModel
from interlock.commands.operate.judging import Jobs
from interlock.commands.operate.lessons import load_lessons
from interlock.commands.operate.render import regions
from interlock.commands.operate.views import alarm
from interlock.independent_judge.run_file import parse_run, replay_file, to_text
from tests.support.benches import wait_for_verdicts
from tests.support.gate import gate
from tests.support.models import MODELS, folders, shipped

FLAWS = {
    "lamp_lies": ("green := NOT (lower OR raise OR pin_pull)", "green := secured"),
    "pin_alone": ("secured := pin_in", "secured := ramp_home AND pin_in"),
    "lost_bracket": ("pump AND raise OR lower", "pump AND (raise OR lower)"),
    "stop_that_does_not": (
        "pump := start AND stop_free AND parked OR pump",
        "pump := (start OR pump) AND stop_free AND parked",
    ),
}


@pytest.fixture
def desk() -> Iterator[Desk]:
    jobs = Jobs()
    yield Desk(ServedModel(shipped("ramp"), jobs))
    jobs.end()


@pytest.mark.parametrize(
    "id_",
    [
        "pin_alone",
        pytest.param("lamp_lies", marks=pytest.mark.slow),
        pytest.param("lost_bracket", marks=pytest.mark.slow),
        pytest.param("stop_that_does_not", marks=pytest.mark.slow),
    ],
)
def test_a_lesson_is_done_when_the_flaw_is_mended_and_not_before(desk: Desk, id_: str) -> None:
    perform(desk, {"act": "lesson", "id": id_})
    perform(desk, {"act": "judge"})
    wait_for_verdicts(desk)
    assert not desk.lesson_is_done()
    flaw, mended = FLAWS[id_]
    text = desk.text
    assert flaw in text
    perform(desk, {"act": "program", "text": text.replace(flaw, mended)})
    wait_for_verdicts(desk)
    assert desk.lesson_is_done()


def test_a_program_that_does_nothing_mends_no_lesson(desk: Desk) -> None:
    perform(desk, {"act": "lesson", "id": "pin_alone"})
    lines = desk.text.split("\n")
    dead = [f"{line.split(':=')[0]}:= FALSE;" if ":=" in line else line for line in lines]
    perform(desk, {"act": "program", "text": "\n".join(dead)})
    wait_for_verdicts(desk)
    assert not desk.lesson_is_done()


def test_every_lesson_that_is_shipped_has_a_flaw_to_mend() -> None:
    lessons = load_lessons(MODELS / "ramp")
    assert len(lessons) >= 4
    for lesson in lessons.values():
        if lesson.is_mend:
            assert shipped(f"ramp-broken/{lesson.folder.name}").expected_violated


def test_a_sentence_is_judged_and_its_run_followed(desk: Desk) -> None:
    given = {"never": "pump AND ramp = lowered"}
    perform(desk, {"act": "say", "pattern": "never", "scope": "globally", "given": given})
    assert not desk.sentence_mistakes
    wait_for_verdicts(desk)
    judged = desk.verdict_on(desk.sentences[0])
    assert judged is not None
    assert judged.says.startswith("violated: a shortest run has ")
    perform(desk, {"act": "follow_own", "number": 0})
    session = desk.session
    session.go(len(session.entries))
    assert session.bench.label(session.state, "ramp") == "lowered"
    assert session.bench.truth(session.state)["pump"] == 1


def test_the_run_so_far_is_a_run_file_that_replays(desk: Desk) -> None:
    desk.session.tick()
    perform(desk, {"act": "press", "control": "panel", "position": 1})
    run = parse_run(desk.run_file(), "run.json")
    assert run.moves == ("scan", "panel to START", "scan")
    assert run.ends["pump"] == "TRUE"
    assert replay_file(shipped("ramp"), run).violates == ()
    perform(desk, {"act": "anew"})
    perform(desk, {"act": "open_run", "text": to_text(run)})
    assert len(desk.session.entries) == 3
    assert desk.session.position == 0


def test_a_run_file_that_does_not_fit_is_refused_in_a_line(desk: Desk) -> None:
    perform(desk, {"act": "open_run", "text": '{"interlock_run": 1, "model": "x", "moves": ["x"]}'})
    assert desk.notice.startswith("The run cannot be replayed: run:1:")
    assert "'x' is not a move" in desk.notice


def test_letting_go_of_a_button_that_another_press_replaced_changes_nothing(desk: Desk) -> None:
    desk.session.tick()
    perform(desk, {"act": "press", "control": "panel", "position": 1})
    perform(desk, {"act": "press", "control": "panel", "position": 3})
    perform(desk, {"act": "release", "control": "panel", "position": 1})
    assert desk.bench.label(desk.session.state, "panel") == "LOWER"
    perform(desk, {"act": "release", "control": "panel", "position": 3})
    assert desk.bench.label(desk.session.state, "panel") == "NONE"


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"act": "fly"},
        {"act": ["press"]},
        {"act": "press", "control": "ramp", "position": 0},
        {"act": "press", "control": "panel", "position": 9},
        {"act": "press", "control": "panel", "position": "x"},
        {"act": "move", "move": "ramp to the moon"},
        {"act": "move"},
        {"act": "follow", "id": "R1"},
        {"act": "follow_own", "number": -1},
        {"act": "say", "pattern": "never", "scope": "globally", "given": []},
        {"act": "say", "pattern": "never", "scope": "globally", "given": {"never": 3}},
    ],
)
def test_what_no_page_asks_for_is_refused(desk: Desk, given: dict[str, object]) -> None:
    with pytest.raises(BadRequestError):
        perform(desk, given)


def test_what_is_wrong_in_a_file_of_lessons_has_its_place(tmp_path: Path) -> None:
    (tmp_path / "lessons.yaml").write_text(
        "lessons:\n  one: {title: a, model: ../nowhere, story: b, ask: c, learnt: d}\n"
        "  two: {title: a, model: /abs, story: b, ask: c, learnt: d}\n"
    )
    with pytest.raises(InputError) as error:
        load_lessons(tmp_path)
    first, second = error.value.mistakes
    assert (first.place.line, first.place.column) == (2, 26)
    assert "there is no model.yaml" in first.says
    assert "relative to this file" in second.says


def test_a_violation_after_faults_tells_how_many_the_requirement_claims_to_survive() -> None:
    desk = Desk(ServedModel(shipped("wren"), Jobs()))
    # F28: the leg contact, a single one, is stuck at 'up'; R36b claims to survive no fault.
    for move in ("scan", "F28 strikes", "legs: UP to MID"):
        assert desk.session.act(move) is None
    told = alarm(desk)
    rows = {row["id"]: row for row in told["now"]}
    assert (rows["R36b"]["claim"], rows["R36b"]["struck"]) == (0, 1)
    assert not told["erred"]
    assert "claims to survive none" in regions(desk)["alarm"]
    assert desk.session.act("hitch: LOCKED to OPEN (2)") is not None
    for move in ("tbrake: RELEASED to PARK", "hitch: LOCKED to OPEN (2)"):
        assert desk.session.act(move) is None
    assert alarm(desk)["erred"]


def test_a_violation_is_replayed_on_the_independent_machine(desk: Desk) -> None:
    perform(desk, {"act": "lesson", "id": "pin_alone"})
    run = ["scan", "panel to START", "scan", "panel to LOWER", "scan", "pin: in to out", "scan"]
    run += ["ramp: stowed to between", "scan", "panel to NONE", "scan", "pin: out to in", "scan"]
    desk.session.show(run, None, "")
    desk.session.go(len(run))
    assert set(desk.unconfirmed()) == {"R2"}
    assert "Being replayed" in regions(desk)["alarm"]
    perform(desk, {"act": "confirm"})
    assert not desk.unconfirmed()
    assert "confirmed by the independent machine" in regions(desk)["alarm"]
    # Another run to the same place is another violation.
    desk.session.go(len(run) - 1)
    assert desk.session.act("scan") is None
    assert set(desk.unconfirmed()) == {"R2"}


def test_a_violation_at_power_up_is_replayed_once(tmp_path: Path) -> None:
    never_shut = ("can_still: gate = SHUT", "never: gate = SHUT")
    desk = Desk(ServedModel(gate(tmp_path / "gate", never_shut), Jobs()))
    assert desk.unconfirmed() == {"R4": 0}
    perform(desk, {"act": "confirm"})
    assert not desk.unconfirmed()
    desk.session.tick()
    assert desk.session.violations() == {"R4": 0}
    assert not desk.unconfirmed()


def test_a_violation_that_the_replay_does_not_find_is_an_internal_error(desk: Desk) -> None:
    desk.session.tick()
    last = desk.session.entries[-1]
    desk.session.entries[-1] = replace(last, violated=frozenset({"R1"}))
    with pytest.raises(InternalError, match="R1 shows as violated in step 1, and the replay"):
        desk.confirm()


def test_a_fault_taken_out_leaves_the_same_run_without_it() -> None:
    desk = Desk(ServedModel(shipped("wren"), Jobs()))
    for move in ("scan", "door: SHUT to OPEN", "F04 strikes", "door: OPEN to SHUT"):
        assert desk.session.act(move) is None
    perform(desk, {"act": "take_out", "id": "F04"})
    assert desk.bench.struck(desk.session.state) == []
    moves = [entry.move for entry in desk.session.made if entry.move != "scan"]
    assert moves == ["door: SHUT to OPEN", "door: OPEN to SHUT"]
    assert desk.notice == "The same run without F04."
    with pytest.raises(BadRequestError):
        perform(desk, {"act": "take_out", "id": "F04"})


def test_a_run_that_needs_the_fault_goes_only_as_far_as_it_can() -> None:
    desk = Desk(ServedModel(shipped("wren"), Jobs()))
    plug = ("lead: STOWED to LOOSE", "lead: LOOSE to PLUGGED")
    for move in ("scan", *plug, "F40g strikes", "F40h strikes", "F11t strikes"):
        assert desk.session.act(move) is None
    assert desk.session.act("lockT: IN to PART") is None
    perform(desk, {"act": "take_out", "id": "F11t"})
    assert desk.bench.label(desk.session.state, "lockT") == "IN"
    assert desk.notice == "The same run without F11t, as far as it goes."
    assert desk.refusals[0].reason is not None


def test_what_a_refused_move_lacks_stays_told_while_a_button_is_held(desk: Desk) -> None:
    perform(desk, {"act": "press", "control": "panel", "position": 1})
    for _ in range(20):
        perform(desk, {"act": "tick"})
    assert desk.session.held()
    assert desk.session.is_at_rest
    assert desk.is_puzzled, "nothing moves, and nobody has said why"
    refused = next(m for m in desk.bench.system.moves if m.name not in desk.session.possible())
    perform(desk, {"act": "move", "move": refused.name})
    (told,) = desk.refusals
    assert told == desk.session.why_not(refused.name)
    assert not desk.is_puzzled, "asking by itself would take the answer away"


def test_why_not_shows_the_network_that_decides_with_its_values() -> None:
    jobs = Jobs()
    desk = Desk(ServedModel(shipped("ramp-drawn"), jobs))
    desk.session.act("scan")
    refused = next(m for m in desk.bench.system.moves if m.name not in desk.session.possible())
    perform(desk, {"act": "move", "move": refused.name})
    shown = regions(desk)["why"]
    assert "<svg" in shown
    assert "PROGRAM Ramp, network" in shown
    assert "<svg" not in regions(Desk(ServedModel(shipped("ramp"), jobs)))["why"]
    jobs.end()


@pytest.mark.parametrize(
    "name", ["landing-gear-untimed", *(f"ramp-broken/{name}" for name in folders("ramp-broken"))]
)
def test_every_small_model_that_is_shipped_can_be_operated(name: str) -> None:
    jobs = Jobs()
    desk = Desk(ServedModel(shipped(name), jobs))
    for _ in range(3):
        for move in list(desk.session.possible())[:6]:
            desk.tell(desk.session.act(move))
            desk.session.tick()
        assert all(regions(desk)[part] for part in ("status", "picture", "lamps", "program"))
        desk.look_why()
    assert replay_file(desk.bench.model, parse_run(desk.run_file(), "run")).notes == ()
    jobs.end()
