"""Programs, lowered and interpreted."""

from __future__ import annotations

import pytest

from interlock.kernel.evaluate import evaluate
from interlock.kernel.expr import FALSE, TRUE, and_, const, not_, var
from interlock.kernel.system import MoveKind, Role
from interlock.st.interpret import Controller
from interlock.st.layout import Settings, Timers
from interlock.st.load import load_program
from interlock.st.lower import Lowered, lower_program

_LATCH = """PROGRAM Latch
VAR_INPUT Go, Stop : BOOL; END_VAR
VAR_OUTPUT Valve : BOOL; END_VAR
VAR RETAIN Count : INT (0..3); END_VAR
VAR t1 : TON; END_VAR
IF Go THEN
  Valve := TRUE;
  Count := Count + 1;
END_IF;
IF Stop THEN
  Valve := FALSE;
END_IF;
t1(IN := Valve, PT := T#5s);
END_PROGRAM
"""


def _lower(text: str, settings: Settings | None = None) -> Lowered:
    return lower_program(load_program(text, "c.st"), settings or Settings())


def test_outputs_keep_their_names_and_memory_has_a_prefix() -> None:
    lowered = _lower(_LATCH)
    assert [v.name for v in lowered.inputs] == ["input.Go", "input.Stop"]
    assert {v.name: v.role for v in lowered.variables} == {
        "Valve": Role.OUTPUT,
        "plc.Count": Role.MEMORY,
        "plc.t1.running": Role.TIMER,
        "plc.t1.elapsed": Role.TIMER,
        "plc.t1.Q": Role.MEMORY,
    }
    assert lowered.retained == {"plc.Count"}


def test_a_later_assignment_wins() -> None:
    update = _lower(_LATCH).updates["Valve"]
    for go, stop, before, after in [(1, 1, 1, 0), (1, 0, 0, 1), (0, 0, 1, 1), (0, 1, 1, 0)]:
        env = {"input.Go": go, "input.Stop": stop, "Valve": before}
        assert evaluate(update, env) == after


def test_a_free_timer_elapses_by_a_fair_move() -> None:
    (move,) = _lower(_LATCH).timer_moves
    due = and_(var("plc.t1.running"), not_(var("plc.t1.elapsed")))
    assert (move.name, move.kind) == ("t1 elapses", MoveKind.TIMER)
    assert move.guard is due
    assert move.fair is due
    assert dict(move.updates) == {"plc.t1.elapsed": TRUE}


def test_a_counted_timer_has_a_bounded_counter_and_no_move() -> None:
    lowered = _lower(_LATCH, Settings(Timers.COUNTED, scan_ms=300))
    counter = next(v for v in lowered.variables if v.name == "plc.t1.elapsed_scans")
    assert (counter.domain.lo, counter.domain.hi) == (0, 17)  # 5000 / 300, rounded up
    assert lowered.timer_moves == ()


def test_a_timer_of_no_time_is_on_at_once_and_never_elapses() -> None:
    lowered = _lower(_LATCH.replace("T#5s", "T#0s"))
    assert lowered.timer_moves == ()
    controller = Controller(lowered.program, Settings())
    controller.scan({"Go": 1, "Stop": 0})
    assert controller.values()["plc.t1.Q"] == 1


def test_an_assignment_out_of_range_is_a_flaw_with_its_place() -> None:
    lowered = _lower(_LATCH)
    (flaw,) = lowered.flaws
    assert str(flaw.place) == "c.st:8:3"
    assert flaw.says == "'Count' is assigned a value outside 0..3"
    assert lowered.defects is flaw.when
    controller = Controller(lowered.program, Settings())
    results = [controller.scan({"Go": 1, "Stop": 0}) for _ in range(4)]
    assert [len(result.defects) for result in results] == [0, 0, 0, 1]
    assert controller.values()["plc.Count"] == 3


def test_a_guarded_increment_is_no_flaw() -> None:
    guarded = _LATCH.replace("IF Go THEN", "IF Go AND Count < 3 THEN")
    assert _lower(guarded).defects is FALSE


def test_a_counter_in_a_ring_is_no_flaw_however_much_decides_that_it_goes_on() -> None:
    text = """PROGRAM p
    VAR_INPUT a : ARRAY [1..16] OF BOOL; END_VAR
    VAR_OUTPUT n : INT (1..10) := 1; END_VAR
    IF a[1] AND a[2] OR a[3] AND a[4] OR a[5] AND a[6] OR a[7] AND a[8]
       OR a[9] AND a[10] OR a[11] AND a[12] OR a[13] AND a[14] OR a[15] AND a[16] THEN
      IF n = 10 THEN n := 1; ELSE n := n + 1; END_IF;
    END_IF;
    END_PROGRAM"""
    assert _lower(text).flaws == ()
    (flaw,) = _lower(text.replace("n = 10", "n = 9 AND a[1]")).flaws
    assert flaw.says == "'n' is assigned a value outside 1..10"


def test_a_division_counts_only_where_it_is_executed() -> None:
    text = """PROGRAM p
    VAR_INPUT n : INT (0..3); a : BOOL; END_VAR
    VAR_OUTPUT m : INT (0..9); END_VAR
    IF a THEN m := 9 / n; END_IF;
    END_PROGRAM"""
    assert [flaw.says for flaw in _lower(text).flaws] == ["division by zero"]
    assert _lower(text.replace("IF a THEN", "IF n > 0 THEN")).flaws == ()


def test_restart_keeps_what_is_retained() -> None:
    lowered = _lower(_LATCH)
    controller = Controller(lowered.program, Settings())
    controller.scan({"Go": 1, "Stop": 0})
    controller.elapse("t1")
    controller.restart()
    assert controller.values() == {
        "Valve": 0,
        "plc.Count": 1,
        "plc.t1.running": 0,
        "plc.t1.elapsed": 0,
        "plc.t1.Q": 0,
    }
    assert lowered.restart.keys() == controller.values().keys() - {"plc.Count"}
    assert lowered.restart["Valve"] is const(0)


def test_a_scan_names_the_assignment_that_decided_an_output() -> None:
    controller = Controller(load_program(_LATCH, "c.st"), Settings())
    result = controller.scan({"Go": 1, "Stop": 0})
    (decision,) = result.decided
    assert (str(decision.place), decision.name) == ("c.st:7:3", "Valve")
    assert (decision.old, decision.new) == (0, 1)
    assert [place.line for place in result.executed] == [6, 7, 8, 13]
    assert controller.scan({"Go": 1, "Stop": 0}).decided == ()
    (undone,) = controller.scan({"Go": 1, "Stop": 1}).decided
    assert str(undone.place) == "c.st:11:3"


def test_only_a_running_timer_elapses() -> None:
    controller = Controller(load_program(_LATCH, "c.st"), Settings())
    with pytest.raises(ValueError, match="t1 is not running"):
        controller.elapse("t1")
    controller.scan({"Go": 1, "Stop": 0})
    assert controller.running_timers() == ["t1"]
    controller.elapse("t1")
    assert controller.running_timers() == []
    assert controller.values()["plc.t1.Q"] == 0
    controller.scan({"Go": 0, "Stop": 0})
    assert controller.values()["plc.t1.Q"] == 1


def test_a_controller_can_be_put_into_any_memory() -> None:
    controller = Controller(load_program(_LATCH, "c.st"), Settings())
    controller.load({"Valve": 1, "plc.Count": 2})
    assert controller.memory()["plc.Count"] == 2
    with pytest.raises(KeyError):
        controller.load({"plc.count": 1})


def test_limit_with_crossed_limits_gives_the_upper_one() -> None:
    # IEC 61131-3: LIMIT := MIN(MAX(IN, MN), MX) (from memory).
    text = """PROGRAM p
    VAR_INPUT n : INT (0..9); END_VAR VAR_OUTPUT q : INT (0..9); END_VAR
    q := LIMIT(7, n, 3);
    END_PROGRAM"""
    controller = Controller(load_program(text, "c.st"), Settings())
    assert [controller.scan({"n": n}).outputs["q"] for n in (0, 5, 9)] == [3, 3, 3]


def test_a_counter_stops_at_its_greatest_preset() -> None:
    text = """PROGRAM p
    VAR_INPUT a : BOOL; n : INT (0..4); END_VAR VAR c : CTU; END_VAR
    c(CU := a, PV := n);
    END_PROGRAM"""
    count = next(v for v in _lower(text).variables if v.name == "plc.c.CV")
    assert (count.domain.lo, count.domain.hi) == (0, 4)


def test_a_literal_is_rounded_to_the_real_that_it_is_compared_with() -> None:
    text = """PROGRAM p VAR_OUTPUT q, s : BOOL; END_VAR VAR r : REAL := 0.1; END_VAR
q := r <= 0.1; s := 0.1 = r; END_PROGRAM"""
    controller = Controller(load_program(text, "p.st"), Settings())
    assert controller.scan({}).outputs == {"q": 1, "s": 1}
