"""Sequential function charts in text, executed as written, against values worked out by hand.

Source: IEC 61131-3, from memory. A call executes the actions of the active steps and then clears
transitions.
"""

from __future__ import annotations

import pytest

from tests.known.test_whole_language import program_of, run

_CHART = """INITIAL_STEP Start: END_STEP
STEP Run: {actions} END_STEP
TRANSITION FROM Start TO Run := a; END_TRANSITION
TRANSITION FROM Run TO Start := b; END_TRANSITION
ACTION Count: n := n + 1; END_ACTION
"""


@pytest.mark.parametrize(
    ("actions", "a", "b", "q", "n"),
    [
        # Run is active from the second call on and until the one in which b is seen.
        ("q(N);", "1000000", "0001000", "0111000", [0] * 7),
        # An action is executed once more after it was active: the final scan.
        ("Count(N);", "1000000", "0001000", "0000000", [0, 1, 2, 3, 4, 4, 4]),
        ("Count(P1);", "1000000", "0001000", "0000000", [0, 1, 1, 1, 1, 1, 1]),
        ("Count(P0);", "1000000", "0001000", "0000000", [0, 0, 0, 0, 1, 1, 1]),
        ("q(P);", "1000000", "0001000", "0100000", [0] * 7),
        ("q(S);", "1000000", "0001000", "0111111", [0] * 7),
        ("q(L, T#200ms);", "1000000", "0000010", "0110000", [0] * 7),
        ("q(D, T#200ms);", "1000000", "0000010", "0001110", [0] * 7),
        ("q(SD, T#300ms);", "1000000", "0100000", "0000111", [0] * 7),
        ("q(DS, T#300ms);", "1000000", "0100000", "0000000", [0] * 7),
        ("q(DS, T#100ms);", "1000000", "0010000", "0011111", [0] * 7),
        ("q(SL, T#200ms);", "1000000", "0100000", "0110000", [0] * 7),
    ],
)
def test_qualifiers_of_actions(actions: str, a: str, b: str, q: str, n: list[int]) -> None:
    # IEC 61131-3, action control (from memory), worked out call by call at k·100 ms.
    assert run(program_of(_CHART.format(actions=actions)), a, b) == (q, n)


def test_of_several_true_branches_the_leftmost_is_taken_unless_priority_says_other() -> None:
    chart = """INITIAL_STEP A: END_STEP STEP B: One(N); END_STEP STEP C: Two(N); END_STEP
    TRANSITION {first} FROM A TO B := a; END_TRANSITION
    TRANSITION {second} FROM A TO C := a; END_TRANSITION
    ACTION One: n := 1; END_ACTION ACTION Two: n := 2; END_ACTION"""
    leftmost = program_of(chart.format(first="", second=""))
    assert run(leftmost, "11")[1] == [0, 1]
    by_priority = chart.format(first="(PRIORITY := 2)", second="(PRIORITY := 1)")
    assert run(program_of(by_priority), "11")[1] == [0, 2]


def test_simultaneous_branches_begin_and_end_together() -> None:
    chart = """INITIAL_STEP A: END_STEP STEP B: Bit0(N); END_STEP STEP C: END_STEP
    STEP D: Bit1(N); END_STEP STEP E: q(N); END_STEP
    TRANSITION FROM A TO (B, C) := TRUE; END_TRANSITION
    TRANSITION FROM C TO D := a; END_TRANSITION
    TRANSITION FROM (B, D) TO E := b; END_TRANSITION
    ACTION Bit0: n := n + 1; END_ACTION ACTION Bit1: n := n + 10; END_ACTION"""
    # B and C from the second call; D from the third; both are left together, with final scans.
    found = run(program_of(chart), "010000", "110100")
    assert found == ("000011", [0, 1, 12, 23, 34, 34])


def test_a_step_tells_whether_and_how_long_it_is_active() -> None:
    chart = """INITIAL_STEP One: Look(N); END_STEP STEP Two: END_STEP
    TRANSITION FROM One TO Two := One.T >= T#200ms; END_TRANSITION
    ACTION Look: n := n + 1; q := One.X; END_ACTION"""
    # Active in three calls, at 0, 100 and 200 ms; the fourth is the final scan.
    assert run(program_of(chart), "00000") == ("11100", [1, 2, 3, 4, 4])
