"""What may happen between two scans, on systems whose answers are known without exploring them."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.engines.reference import ReferenceEngine
from interlock.independent_judge.player import Player
from interlock.judgement.finding import Finding
from interlock.judgement.verify import verify
from interlock.kernel import expr as ex
from interlock.kernel.query import Count
from interlock.kernel.requirement import Outcome
from interlock.kernel.system import PHASE
from interlock.model.between import BetweenScans
from interlock.model.build import build
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.engines import Explore
from tests.support.gate import written

ONE, TWO, EACH, ANY = "one in all", "two in all", "each once", "any number"


def model_of(folder: Path, yaml: str, program: str, between: str = ONE) -> Model:
    text = f"title: Known\ncontroller: controller.st\nrun: {{between_scans: {between}}}\n{yaml}"
    return load(written(folder, text, program))


def judged(model: Model, between: str) -> dict[str, Finding]:
    found = verify(model.assuming(BetweenScans.read(between)), ReferenceEngine())
    return {finding.requirement.id: finding for finding in found.findings}


def n_steps(finding: Finding) -> int:
    assert finding.outcome is Outcome.VIOLATED
    assert finding.run is not None
    return len(finding.run.happenings)


# Switches.


def toggles(folder: Path, n: int, between: str) -> Model:
    """`n` switches that anybody sets at any moment; a lamp follows the first."""
    names = [f"s{number}" for number in range(n)]
    yaml = "controls:\n" + "".join(f"  {name}: {{}}\n" for name in names)
    yaml += "sensors:\n  up: {reads: s0}\n"
    yaml += f"requirements:\n  R1: {{says: r, never: '{' AND '.join(names)}'}}\n"
    program = "PROGRAM P\nVAR_INPUT up : BOOL; END_VAR\nVAR_OUTPUT lamp : BOOL; END_VAR\n"
    return model_of(folder, yaml, program + "lamp := up;\nEND_PROGRAM\n", between)


@pytest.mark.parametrize("n", [1, 2, 4])
def test_toggles_at_most_once_each_have_four_to_the_n_states(
    tmp_path: Path, explore: Explore, n: int
) -> None:
    # Each is in one of two positions and has moved or not; behind a scan none has. The lamp shows
    # where the first was at the scan: where it is now, unless it has moved. Power-up is one more.
    system = build(toggles(tmp_path, n, EACH)).system
    found = explore(system, [Count(ex.eq(ex.var(PHASE), ex.const(0)))])
    assert (found.n_states, found.answers[0].n_states) == (4**n + 1, 2**n)


@pytest.mark.parametrize(
    ("between", "n_states"),
    [
        # Behind a scan 2^n; behind a move the lamp tells the truth or not, 2 * 2^n: power-up is
        # the one with everything down.
        (ONE, 3 * 2**3),
        # As many behind a second move, power-up among them.
        (TWO, 5 * 2**3),
        # Behind one move or more 2 * 2^n; no other state is like power-up.
        (ANY, 3 * 2**3 + 1),
    ],
)
def test_three_toggles_that_are_limited_otherwise_are_counted_by_hand(
    tmp_path: Path, explore: Explore, between: str, n_states: int
) -> None:
    found = explore(build(toggles(tmp_path, 3, between)).system, [])
    assert found.n_states == n_states


# A machine with many stations passes as many of them between two scans as it has turns.

STATIONS = 12
ONE_BY_ONE = """\
title: Line
controller: controller.st
run: {between_scans: one in all}
"""
LINE = f"""\
plant:
  carriage:
    states: [{", ".join(f"p{n}" for n in range(STATIONS))}]
    moves:
MOVES
  brake:
    states: [OFF, ON]
    moves: [{{from: 'OFF', to: 'ON', also: {{carriage: 'SEL(carriage = p0, carriage, p2)'}}}}]
sensors: {{at: {{reads: carriage = p0}}}}
requirements:
  R1: {{says: seen no later than at p1, never: carriage = p1 AND seen, judged: every state}}
  R2: {{says: seen no later than at p2, never: carriage = p2 AND seen}}
  R3: {{says: seen no later than at p3, never: carriage = p3 AND seen}}
  R11: {{says: seen before the end, never: carriage = p11 AND seen}}
"""
SEEN = """\
PROGRAM P
VAR_INPUT at : BOOL; END_VAR
VAR_OUTPUT seen : BOOL; END_VAR
seen := at;
END_PROGRAM
"""


def line(folder: Path, seconds: str = "") -> Model:
    moves = [
        f"      - {{from: p{n}, to: p{n + 1}{seconds}, name: on {n}}}" for n in range(STATIONS - 1)
    ]
    return model_of(folder, LINE.replace("MOVES", "\n".join(moves)), SEEN)


@pytest.mark.parametrize(
    ("between", "seconds", "farthest"),
    [
        (ONE, "", 2),  # the brake takes it from p0 to p2
        (TWO, "", 3),  # and one step on
        (EACH, "", 3),
        (ANY, "", 11),
        # A scan lasts 100 ms. Moves of 50 ms at least may end right behind the scan and 50 ms on.
        (EACH, ", seconds: [0.05, 1], assumed: true", 4),
        (EACH, ", seconds: [0.1, 1], assumed: true", 3),
        (EACH, ", seconds: [0.099, 1], assumed: true", 4),
        # Nine of 12 ms fit: more than are counted.
        (EACH, ", seconds: [0.012, 1], assumed: true", 11),
    ],
)
def test_a_machine_goes_as_far_between_two_scans_as_its_turns_reach(
    tmp_path: Path, between: str, seconds: str, farthest: int
) -> None:
    found = judged(line(tmp_path, seconds), between)
    violated = {id_ for id_, one in found.items() if one.outcome is Outcome.VIOLATED}
    assert violated == {id_ for id_ in ("R1", "R2", "R3", "R11") if int(id_[1:]) <= farthest}


# Peterson's algorithm, G. L. Peterson, "Myths about the mutual exclusion problem", Information
# Processing Letters 12 (1981). Each process is a machine; what it writes is carried along; what it
# reads of the other is what the last scan has copied to an output.

PROCESS = """\
  p{me}:
    states: [idle, wanting, waiting, critical]
    moves:
      - {{from: idle, to: wanting, by: operator, also: {{f{me}: UP}}}}
      - {{from: wanting, to: waiting, also: {{turn: t{other}}}}}
      - {{from: waiting, to: critical, when: NOT raised{other} OR first{me}}}
      - {{from: critical, to: idle, also: {{f{me}: DOWN}}}}
"""
PETERSON = (
    "plant:\n"
    + PROCESS.format(me=0, other=1)
    + PROCESS.format(me=1, other=0)
    + """\
  f0: {states: [DOWN, UP]}
  f1: {states: [DOWN, UP]}
  turn: {states: [t0, t1]}
sensors:
  flag0: {reads: f0 = UP}
  flag1: {reads: f1 = UP}
  turn0: {reads: turn = t0}
requirements:
  R1: {says: one at a time, never: p0 = critical AND p1 = critical}
  R2: {says: the first comes to it, exists: p0 = critical, scope: {after: p1 = critical}}
"""
)
COPY = """\
PROGRAM Copy
VAR_INPUT flag0, flag1, turn0 : BOOL; END_VAR
VAR_OUTPUT raised0, raised1, first0, first1 : BOOL; END_VAR
raised0 := flag0; raised1 := flag1; first0 := turn0; first1 := NOT turn0;
END_PROGRAM
"""


@pytest.mark.parametrize(
    ("between", "shortest"),
    [
        # Each move reads what is so: this is the published algorithm.
        (ONE, None),
        # A process waits for a scan after each of its steps. It goes by a flag that was still down
        # one step after its own was raised, so the other comes later by two steps, sees the flag
        # and has given way last.
        (EACH, None),
        # One goes by the other's flag, which is raised in the same interval. The other then writes
        # the turn and reads, in one interval, what the first one wrote: scan; up, turn; scan;
        # critical, up; scan; turn, critical.
        (TWO, 9),
        # Both do everything with what power-up showed: scan; three steps each.
        (ANY, 7),
    ],
)
def test_petersons_algorithm_excludes_as_long_as_each_step_waits_for_a_scan(
    tmp_path: Path, between: str, shortest: int | None
) -> None:
    found = judged(model_of(tmp_path, PETERSON, COPY), between)["R1"]
    if shortest is None:
        assert found.outcome is Outcome.HOLDS
    else:
        assert n_steps(found) == shortest


# Two-hand control after ISO 13851, with two scans in place of 0.5 s: type III starts only where the
# second button comes at most so long after the first, and again only after both were let go.

TWO_HANDS = """\
controls: {left: {}, right: {}}
sensors: {l: {reads: left}, r: {reads: right}}
requirements:
  R1: {says: a start takes both hands, never: run AND NOT left AND NOT right, judged: after scan}
"""
TYPE_III = """\
PROGRAM TwoHands
VAR_INPUT l, r : BOOL; END_VAR
VAR_OUTPUT run : BOOL; END_VAR
VAR late : INT (0..3); spent : BOOL; END_VAR
IF l AND r THEN
  IF NOT spent AND late <= 2 THEN run := TRUE; END_IF;
  spent := TRUE;
ELSE
  run := FALSE;
  IF l OR r THEN late := MIN(late + 1, 3); ELSE late := 0; spent := FALSE; END_IF;
END_IF;
END_PROGRAM
"""


def plays(model: Model, run: str) -> bool:
    """Whether the machine runs after a run: l, r for presses, L, R for letting go, s for a scan."""
    player = Player(model)
    sides, ends = {"l": "left", "r": "right"}, {True: "FALSE", False: "TRUE"}
    for act in run:
        is_scan = act == "s"
        player.play("scan" if is_scan else f"{sides[act.lower()]} to {ends[act.isupper()]}")
    return bool(player.outputs()["run"])


@pytest.mark.parametrize("lag", range(5))
def test_two_hands_start_only_within_the_lag_and_both_at_once_are_two_moves(
    tmp_path: Path, lag: int
) -> None:
    model = model_of(tmp_path, TWO_HANDS, TYPE_III, EACH)
    assert plays(model, "sl" + "s" * lag + "rs") is (lag <= 2)
    # One hand tied down: it stays off.
    assert not plays(model, "sl" + "s" * lag + "rs" + "Rsrs")
    # Both let go between two scans, and both pressed again before the next but one.
    assert plays(model, "slrsLRslrs")


def test_a_hand_lifted_and_set_down_between_two_scans_is_seen_by_nobody(tmp_path: Path) -> None:
    model = model_of(tmp_path, TWO_HANDS, TYPE_III, ANY)
    assert plays(model, "slrsRrs")
    with_each = model.assuming(BetweenScans.read(EACH))
    with pytest.raises(Exception, match="a scan is due first"):
        plays(with_each, "slrsRrs")
