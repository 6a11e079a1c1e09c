"""A run on the bench: what happens by itself, what is refused and why, and going back."""

from __future__ import annotations

from interlock.commands.operate.session import Session
from tests.support.benches import bench
from tests.support.models import shipped, verified


def settled(name: str = "ramp") -> Session:
    """A session in which all has come to rest."""
    session = Session(bench(name))
    rest(session)
    return session


def rest(session: Session) -> None:
    while session.tick():
        pass


def press(session: Session, control: str, position: str) -> None:
    machine = session.bench.model.machines[control]
    assert session.set_control(control, machine.index(position)) is None


def states(session: Session, *machines: str) -> list[str]:
    return [session.bench.label(session.state, name) for name in machines]


def lower(session: Session) -> None:
    """Lower the ramp, as its procedure says."""
    press(session, "panel", "START")
    rest(session)
    press(session, "panel", "LOWER")
    rest(session)
    press(session, "panel", "NONE")
    rest(session)


def test_a_run_begins_at_power_up_and_the_first_scan_comes_by_itself() -> None:
    session = Session(bench("ramp"))
    assert session.position == 0
    assert session.tick()
    assert [entry.move for entry in session.made] == ["scan"]
    assert not session.tick()
    assert session.is_at_rest


def test_holding_a_button_lets_the_plant_move_until_all_is_at_rest() -> None:
    session = settled()
    lower(session)
    assert states(session, "ramp", "pin", "panel") == ["lowered", "in", "NONE"]


def test_a_scan_follows_each_move_unless_it_is_asked_for_by_hand() -> None:
    session = settled()
    session.scan_follows = False
    press(session, "panel", "START")
    assert session.made[-1].move == "panel to START"
    # The next move needs a scan first, which is then made.
    press(session, "panel", "NONE")
    assert [entry.move for entry in session.made[-3:]] == [
        "panel to START",
        "scan",
        "panel to NONE",
    ]


def test_what_is_done_by_itself_leaves_nothing_out_that_stays_possible() -> None:
    # The tractor's locks, lift and slide of Wren compete; each that stays possible has its turn.
    session = settled("wren")
    for move in ("lead: STOWED to LOOSE", "lead: LOOSE to PLUGGED", "F11t strikes"):
        assert session.act(move) is None
    for fault in ("F40g strikes", "F40h strikes"):
        assert session.act(fault) is None
    rest(session)
    assert states(session, "lockT") == ["OUT"]


def test_a_move_that_is_not_possible_is_refused_with_the_missing_permissive() -> None:
    session = settled()
    lower(session)
    refused = session.act("vehicle: parked to driving")
    assert refused is not None
    assert refused.what == "drives off"
    assert refused.reason is not None
    told = [(reason.text, reason.place.line) for reason in refused.reason.chain()]
    assert told[0] == ("drive_enable is FALSE", 26)
    assert told[-1][0] == "ramp = stowed is FALSE: ramp is lowered"


def test_a_move_from_another_state_is_refused_with_the_state() -> None:
    refused = settled().act("vehicle: driving to parked")
    assert refused is not None
    assert refused.reason is not None
    assert refused.reason.text == "vehicle is parked, not driving"


def test_a_held_button_that_moves_nothing_is_explained() -> None:
    session = settled("wren")
    for move in ("lead: STOWED to LOOSE", "lead: LOOSE to PLUGGED"):
        assert session.act(move) is None
    rest(session)
    press(session, "pendant", "FWD")
    rest(session)
    assert session.held() == ["pendant"]
    reasons = {refusal.what: refusal.reason for refusal in session.why_nothing_moves()}
    pins = reasons["the trailer pins leave the body"]
    assert pins is not None
    assert {end.text for end in pins.ends} >= {"align = ALIGNED is FALSE: align is OFF"}
    assert "the lift raises the room" not in reasons  # that one lacks its own button


def test_where_a_held_button_has_done_all_it_can_nothing_is_made_up() -> None:
    session = settled()
    press(session, "panel", "START")
    press(session, "panel", "LOWER")
    rest(session)
    assert states(session, "ramp", "panel") == ["lowered", "LOWER"]
    assert session.why_nothing_moves() == []


def test_stepping_back_changes_nothing_and_another_move_replaces_what_was_behind() -> None:
    session = settled()
    lower(session)
    length = len(session.entries)
    session.go(session.position - 4)
    assert not session.by_itself
    assert len(session.entries) == length
    session.go(length + 99)
    assert session.position == length
    session.go(3)
    assert session.act("vehicle: parked to driving") is None
    assert [entry.move for entry in session.entries[3:]] == ["vehicle: parked to driving", "scan"]


def test_every_state_of_a_stepped_run_is_that_of_the_first_time() -> None:
    session = settled()
    lower(session)
    there = [entry.state for entry in session.entries]
    session.go(0)
    seen = []
    for number in range(1, len(there) + 1):
        session.go(number)
        seen.append(session.state)
    assert seen == there


def test_a_violation_is_seen_in_the_state_in_which_it_happens() -> None:
    model = shipped("ramp-broken/pin-alone")
    finding = next(
        f for f in verified(model, "enumerate").findings if f.requirement.id == "R1" and f.run
    )
    assert finding.run is not None
    moves = [happening.move for happening in finding.run.happenings]
    session = Session(bench("ramp-broken/pin-alone"))
    assert session.show(moves, None, "a run") is None
    assert session.position == 0
    session.go(len(moves) - 1)
    assert "R1" not in session.here.violated
    session.go(len(moves))
    assert "R1" in session.here.violated
    assert session.violations()["R1"] == len(moves)


def test_a_shown_run_that_is_not_possible_ends_before_the_first_refused_move() -> None:
    session = Session(bench("ramp"))
    refused = session.show(["scan", "panel to START", "scan", "ramp: stowed to between"], None, "")
    assert refused is not None
    assert len(session.entries) == 3


def test_what_violates_is_seen_between_a_move_and_its_scan_too() -> None:
    model = shipped("ramp-broken/lamp-from-command")
    finding = next(f for f in verified(model, "enumerate").findings if f.requirement.id == "R2")
    assert finding.run is not None
    session = Session(bench("ramp-broken/lamp-from-command"))
    session.show([happening.move for happening in finding.run.happenings], None, "")
    session.go(len(session.entries))
    assert "R2" in session.here.violated


def test_a_restart_forgets_the_memory_that_the_scan_is_computed_from() -> None:
    session = settled("wren")
    assert session.act("F39 strikes") is None
    # Each scan compares the interpreter with the system, so a wrong memory would end in an error.
    rest(session)
    assert session.bench.struck(session.state) == ["F39"]


def test_faults_make_signals_lie_and_the_truth_stays() -> None:
    session = settled("wren")
    assert session.act("F04 strikes") is None
    told = session.bench.signals(session.state)
    healthy = session.bench.healthy_signals(session.state)
    assert (told["seat_t"], healthy["seat_t"]) == (0, 1)
    assert {n for n in told if told[n] != healthy[n]} == {"seat_t"}


def test_an_address_of_a_picture_leads_back_to_what_it_was_made_of() -> None:
    session = settled("wren")
    session.act("F04 strikes")
    address = session.bench.picture_address(session.state)
    assert session.bench.values_at(address) == session.bench.seen(session.state)
    assert set(address) <= set("0123456789.-m")
    for wrong in ("", "0", "x", address + ".9999", address.replace("0", "77", 1), "1" * 5000):
        assert session.bench.values_at(wrong) is None
