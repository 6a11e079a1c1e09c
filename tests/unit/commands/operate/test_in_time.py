"""A run on the bench in time: what passes, what must come first, and when all is at rest."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.commands.operate.acts import BadRequestError, perform
from interlock.commands.operate.bench import BEYOND, Bench
from interlock.commands.operate.desk import Desk, ServedModel
from interlock.commands.operate.judging import Jobs
from interlock.commands.operate.lines import lines_of, step_back, step_on, told
from interlock.commands.operate.render import regions
from interlock.commands.operate.session import MAX_STEPS, Session
from interlock.independent_judge.run_file import parse_run, replay_file, violated_by
from interlock.model.declined import load_for
from tests.support.benches import bench, wait_for_verdicts
from tests.support.models import MODELS, shipped
from tests.support.timed_gate import timed_gate, timed_gate_folder

LATE = ("leads_to: gate = shut", "leads_to: gate = shut, within: 300 ms")
SELDOM = ("{scan_ms: 100, ", "{scan_ms: 500, ")


def on_bench(folder: Path, *changes: tuple[str, str]) -> Session:
    return Session(Bench(timed_gate(folder, *changes)))


def rest(session: Session) -> None:
    while session.tick():
        pass


def moves(session: Session) -> list[str]:
    return [entry.move for entry in session.made]


def lines(session: Session) -> list[tuple[str, str]]:
    found = [told(session, line) for line in lines_of(session)]
    return [(line["time"], line["says"]) for line in found]


def test_what_happens_by_itself_happens_as_soon_as_it_may_and_time_passes_between(
    tmp_path: Path,
) -> None:
    session = on_bench(tmp_path)
    assert session.tick()
    assert moves(session) == ["scan"]
    assert session.set_control("button", 1) is None
    # Scans are 100 ms apart, so one unit passes before that which follows.
    assert moves(session)[1:] == ["button to TRUE", "tick", "scan"]
    rest(session)
    says = [(at, said) for at, said in lines(session)[4:]]
    # 0.1 s to the scan, no time till it moves, 0.5 s at least to shut.
    assert says[0] == ("0.1 s", "gate: open to moving")
    assert says[1] == ("0.6 s", "0.5 s pass, with 4 scans that change nothing")
    assert ("0.6 s", "gate: moving to shut") in says
    assert session.is_at_rest
    assert session.violations() == {}


def test_all_rests_only_when_time_alone_leads_back_to_the_same(tmp_path: Path) -> None:
    session = on_bench(tmp_path)
    rest(session)
    here = session.state
    assert session.is_at_rest
    assert session.let_time_pass() is None
    assert session.act("scan") is None
    assert session.state == here
    # A bound that is running is waited for: the gate is driven and never gets anywhere.
    jammed = on_bench(
        tmp_path, LATE, ("to: moving, when: drive", "to: moving, when: drive AND gate = shut")
    )
    rest(jammed)
    jammed.set_control("button", 1)
    assert not jammed.is_at_rest
    rest(jammed)
    assert "R2" in jammed.violations()
    assert jammed.here.violated == {"R1", "R2"}


def test_a_crossing_of_a_bound_is_shown_in_the_very_step_in_which_the_judge_finds_it(
    tmp_path: Path,
) -> None:
    session = on_bench(tmp_path, LATE)
    rest(session)
    session.set_control("button", 1)
    rest(session)
    step = session.violations()["R2"]
    model, made = session.bench.model, moves(session)
    assert violated_by(model, made[:step], ["R2"]) == ("R2",)
    assert violated_by(model, made[: step - 1], ["R2"]) == ()
    assert made[step - 1] == "tick"
    # That unit is told by itself, never within a span in which nothing is seen.
    assert step in [first for first, _ in lines_of(session)]
    # Driven from 0.1 s on, shut at 0.6 s: the first unit that begins behind the bound of 0.3 s.
    assert session.time_at(step) == "0.5 s"


def test_a_scan_that_only_counts_is_seen_and_no_rest(tmp_path: Path) -> None:
    counting = (
        "drive := pressed OR drive;",
        "IF pressed AND n < 3 THEN n := n + 1; END_IF;\ndrive := n = 3;",
    )
    session = on_bench(tmp_path, counting, ("VAR watchdog", "VAR n : INT(0..3); watchdog"))
    rest(session)
    session.set_control("button", 1)
    # Counted to 1; nothing but the memory of the program changes with the next scan.
    assert not session.is_at_rest
    start = session.position
    assert session.tick()
    assert moves(session)[start:] == ["tick", "scan"]
    assert not session.here.is_unseen
    assert session.here.changes == ()
    rest(session)
    assert session.bench.label(session.state, "gate") == "shut"


def test_no_unit_passes_while_something_must_happen_first(tmp_path: Path) -> None:
    session = on_bench(tmp_path)
    session.by_itself = session.scan_follows = False
    refused = session.act("tick")
    assert refused is not None
    assert (refused.what, refused.says) == (
        "100 ms pass",
        "is not possible yet: 'the program scans' must happen first.",
    )
    assert session.let_time_pass() is not None
    assert session.act("scan") is None
    assert session.act("tick") is None
    early = session.act("tick")
    assert early is not None
    assert moves(session) == ["scan", "tick"]


def test_a_move_whose_time_is_not_over_says_how_much_of_it_has_passed(tmp_path: Path) -> None:
    session = on_bench(tmp_path)
    rest(session)
    session.set_control("button", 1)
    assert session.tick()
    for _ in range(3):
        assert session.act("tick") is None
        assert session.act("scan") is None
    refused = session.act("gate: moving to shut")
    assert refused is not None
    assert refused.says == "is not possible yet: it takes 0.5 s at least, and 0.3 s have passed."
    again = session.act("scan")
    assert again is not None
    assert again.says == "is not possible yet: it takes 0.1 s at least, and 0 s have passed."
    assert not session.is_at_rest


def test_waiting_ends_where_something_new_can_happen(tmp_path: Path) -> None:
    session = on_bench(tmp_path, SELDOM)
    session.by_itself = session.scan_follows = False
    assert session.act("scan") is None
    assert session.act("button to TRUE") is None
    assert session.let_time_pass() is None
    assert moves(session) == ["scan", "button to TRUE", *["tick"] * 5]
    assert "scan" in session.bench.enabled(session.state)
    assert lines(session)[-1] == ("0.5 s", "0.5 s pass")
    step_back(session)
    assert session.position == 2
    step_on(session)
    assert session.position == 7


def test_time_passes_up_to_the_scan_that_follows_only_where_one_is_to_follow(
    tmp_path: Path,
) -> None:
    session = on_bench(tmp_path, SELDOM)
    rest(session)
    session.scan_follows = False
    start = session.position
    assert session.act("button to TRUE") is None
    assert moves(session)[start:] == ["button to TRUE"]
    # A second move takes a turn that it has only behind the next scan.
    assert session.act("button to FALSE") is None
    assert moves(session)[start:] == ["button to TRUE", *["tick"] * 5, "scan", "button to FALSE"]


def test_what_waits_for_a_scan_says_what_must_happen_before_it(tmp_path: Path) -> None:
    session = on_bench(tmp_path, SELDOM)
    session.by_itself = False
    for move in ("scan", "button to TRUE"):
        assert session.act(move) is None
    session.scan_follows = False
    assert session.act("button to FALSE") is None
    # The gate must set out within 0.1 s, and the next scan is 0.5 s away.
    refused = session.act("button to TRUE")
    assert refused is not None
    assert refused.says == (
        "must wait for the next scan, and 'gate: open to moving' must happen before that."
    )
    assert moves(session)[-2:] == ["button to FALSE", "tick"]
    assert session.act("gate: open to moving") is None
    assert session.act("button to TRUE") is None


def test_nothing_happens_twice_in_an_instant_while_time_may_pass(tmp_path: Path) -> None:
    # A gate that flutters in no time must not keep time, and so the watchdog, from going on.
    flutter = (
        "{from: moving, to: shut, when: drive, seconds: [0.5, 0.7], assumed: true}",
        "{from: moving, to: open, when: drive, seconds: [0, 0.1], assumed: true}",
    )
    session = on_bench(tmp_path, flutter)
    session.tick()
    session.set_control("button", 1)
    for _ in range(60):
        session.tick()
    assert session.here.n_units > 10
    assert "R1" in session.violations()


def test_a_run_in_time_is_saved_opened_and_followed(tmp_path: Path) -> None:
    jobs = Jobs()
    desk = Desk(ServedModel(timed_gate(tmp_path, LATE), jobs))
    rest(desk.session)
    perform(desk, {"act": "press", "control": "button", "position": 1})
    rest(desk.session)
    desk.confirm()
    assert desk.unconfirmed() == {}
    text = desk.run_file()
    run = parse_run(text, "run.json")
    assert run.moves == tuple(moves(desk.session))
    assert replay_file(desk.bench.model, run).violates == ("R2",)
    length = len(run.moves)
    perform(desk, {"act": "open_run", "text": text})
    assert len(desk.session.entries) == length
    assert desk.notice == ""
    desk.judge()
    wait_for_verdicts(desk)
    perform(desk, {"act": "follow", "id": "R2"})
    desk.session.go(MAX_STEPS)
    assert "R2" in desk.session.here.violated
    given = {"whenever": "drive", "leads_to": "gate = shut", "within": "0.3 s"}
    perform(desk, {"act": "say", "pattern": "leads_to", "scope": "globally", "given": given})
    assert not desk.sentence_mistakes
    wait_for_verdicts(desk)
    assert "violated" in regions(desk)["sentences"]
    perform(desk, {"act": "follow_own", "number": 0})
    assert "tick" in [entry.move for entry in desk.session.entries]
    jobs.end()


@pytest.fixture
def crossing() -> Iterator[Desk]:
    jobs = Jobs()
    yield Desk(ServedModel(shipped("level-crossing"), jobs))
    jobs.end()


def test_the_page_tells_the_time_and_what_takes_it(crossing: Desk) -> None:
    perform(crossing, {"act": "tick"})
    perform(crossing, {"act": "move", "move": "train: away to near"})
    shown = regions(crossing)
    assert '· <span class="at">1 s</span>' in shown["status"]
    assert "let 1 s pass" in shown["plant"]
    assert "<bdi>the train gets to the road</bdi>: " in shown["plant"]
    assert "it takes 30 s at least, and 1 s have passed" in shown["plant"]
    assert '<span class="at">1 s</span>' in shown["run"]
    said = perform(crossing, {"act": "wait"})
    assert said.startswith("2 s: ")


def test_a_model_without_time_has_no_time_on_its_page() -> None:
    jobs = Jobs()
    desk = Desk(ServedModel(shipped("ramp"), jobs))
    perform(desk, {"act": "tick"})
    shown = regions(desk)
    assert 'class="at"' not in shown["status"] + shown["run"]
    assert "let-tick" not in shown["plant"]
    with pytest.raises(BadRequestError):
        perform(desk, {"act": "wait"})


def test_what_only_an_endless_run_could_violate_is_said_not_to_show() -> None:
    session = Session(bench("fischer"))
    assert "R3" not in session.bench.watched  # 'can still' speaks of every way on
    jobs = Jobs()
    desk = Desk(ServedModel(shipped("fischer"), jobs))
    assert "no one step shows it" in regions(desk)["requirements"]


def test_a_bound_to_which_delays_are_added_is_not_said_to_be_kept(tmp_path: Path) -> None:
    added = ("{unit: 100 ms}", "{unit: 100 ms, delays: added}")
    delay = ("reads: button}", "reads: button, delay_ms: 400, delay_assumed: true}")
    jobs = Jobs()
    desk = Desk(ServedModel(timed_gate(tmp_path, LATE, added, delay), jobs))
    assert "kept so far, delays apart" in regions(desk)["requirements"]


def test_without_time_what_is_added_to_a_bound_is_told(tmp_path: Path) -> None:
    delay = ("drive: {}", "drive: {delay_ms: 400, delay_assumed: true}")
    free = (", time: {unit: 100 ms}", "")
    told = "kept so far, delays and the wait for a scan apart"
    jobs = Jobs()
    desk = Desk(ServedModel(timed_gate(tmp_path / "late", LATE, free, delay), jobs))
    assert told in regions(desk)["requirements"]
    # A bound in scans is what a run shows.
    in_scans = ("within: 300 ms", "within: 3 scans")
    desk = Desk(ServedModel(timed_gate(tmp_path / "scans", LATE, in_scans, free, delay), jobs))
    assert "kept so far" in regions(desk)["requirements"]
    assert "apart" not in regions(desk)["requirements"]
    # In time a delay of a signal is counted, and a run shows it.
    signal = ("reads: button}", "reads: button, delay_ms: 400, delay_assumed: true}")
    desk = Desk(ServedModel(timed_gate(tmp_path / "timed", LATE, signal), jobs))
    assert "apart" not in regions(desk)["requirements"]


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("landing-gear-two-computers", "cannot take several controllers"),
        ("overtravel", "cannot take quantities with time"),
    ],
)
def test_what_the_bench_cannot_take_is_refused_by_a_line(name: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        load_for("'operate'", MODELS / name, *BEYOND)


def test_an_output_that_takes_effect_late_is_refused_by_a_line(tmp_path: Path) -> None:
    folder = timed_gate_folder(
        tmp_path, ("drive: {}", "drive: {delay_ms: 100, delay_assumed: true}")
    )
    with pytest.raises(InputError, match="cannot take the delay of an output with time"):
        load_for("'operate'", folder, *BEYOND)
