"""What somebody who wants a wrong statement from a comparison tries: none may come of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.compare.behaviour import Likeness
from interlock.commands.compare.impact import Impact, find_impact
from interlock.commands.compare.study import Comparison, compare
from interlock.commands.compare.tell_impact import conclusion
from interlock.commands.compare.verdicts import Effect, VerdictComparison
from interlock.engines import catalogue
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import gate, written

LAMP = "lamp := shut AND NOT drive;"
R1 = "when: lamp, always: gate = SHUT,\n       judged: after scan, hazards: [H1]}"
LYING = (LAMP, "lamp := NOT drive;")

DOOR_YAML = """\
title: Door
controller: controller.st
plant:
  door: {says: the door, states: [SHUT, OPEN], moves: []}
  latch: {says: the latch, states: [IN, OUT], moves: []}
sensors:
  door_shut: {reads: door = SHUT}
  latched: {reads: latch = IN}
requirements:
  R1: {says: the lamp burns at some time, exists: lamp}
"""
DOOR_ST = """\
PROGRAM Door
VAR_INPUT door_shut, latched : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := TRUE;
END_PROGRAM
"""
FORCED = ("OPEN], moves: []", "OPEN], moves: [{from: SHUT, to: OPEN, by: operator}]")
PULLED = (
    "OPEN], moves: []",
    "OPEN], moves: [{from: SHUT, to: OPEN, by: operator, also: {latch: OUT}}]",
)


def door(folder: Path, *changes: tuple[str, str]) -> Model:
    """The door with texts of its two files replaced."""
    yaml, st = DOOR_YAML, DOOR_ST
    for old, new in changes:
        assert old in yaml or old in st, old
        yaml, st = yaml.replace(old, new), st.replace(old, new)
    return load(written(folder, yaml, st))


def compared(old: Model, new: Model, with_faults: bool = False) -> Comparison:
    """Compared by the slow engine."""
    return compare(old, new, catalogue()["reference"](), with_faults)


def likeness(found: Comparison) -> dict[str, Likeness]:
    """What is told of each output."""
    assert found.behaviour is not None
    return {output.output: output.likeness for output in found.behaviour.outputs}


def verdict(found: Comparison, id_: str = "R1") -> VerdictComparison:
    """What is told of a requirement."""
    (one,) = (v for v in found.verdicts if v.id == id_)
    return one


def touched(impact: Impact, kind: str) -> set[str]:
    """Names of what is touched of a kind."""
    return {one.name for one in impact.of_kind(kind)}


# Equal outputs


def test_an_output_is_equal_only_over_what_the_new_plant_reaches_too(tmp_path: Path) -> None:
    lit_by_door = ("lamp := TRUE;", "lamp := door_shut;")
    found = compared(door(tmp_path / "old"), door(tmp_path / "new", FORCED, lit_by_door))
    assert likeness(found) == {"lamp": Likeness.DIFFERS}
    assert found.behaviour is not None
    (lamp,) = found.behaviour.outputs
    assert lamp.run is not None
    assert [h.move for h in lamp.run.happenings] == ["scan", "door: SHUT to OPEN", "scan"]
    assert (lamp.run.before, lamp.run.after, lamp.run.decided) == (1, 0, "controller.st:4")
    assert touched(find_impact(found), "requirement") == {"R1"}


def test_an_output_that_reads_what_moves_otherwise_is_not_told_equal(tmp_path: Path) -> None:
    lit = ("lamp := TRUE;", "lamp := latched;")
    found = compared(door(tmp_path / "old", FORCED, lit), door(tmp_path / "new", PULLED, lit))
    assert likeness(found) == {"lamp": Likeness.EITHER_PLANT}
    assert touched(find_impact(found), "output") == {"lamp"}
    assert touched(find_impact(found), "requirement") == {"R1"}


def test_an_output_that_the_new_plant_cannot_be_asked_for_is_not_told_equal(
    tmp_path: Path,
) -> None:
    latch = "  latch: {says: the latch, states: [IN, OUT], moves: []}\n"
    gone = ((latch, ""), ("  latched: {reads: latch = IN}\n", ""), ("shut, latched", "shut"))
    found = compared(door(tmp_path / "old"), door(tmp_path / "new", FORCED, *gone))
    assert likeness(found) == {"lamp": Likeness.OLD_PLANT}
    assert touched(find_impact(found), "output") == {"lamp"}


def test_no_output_differs_is_not_said_where_one_has_come_or_gone(tmp_path: Path) -> None:
    horn = (
        ("drive, lamp : BOOL", "drive, lamp, horn : BOOL"),
        ("drive := pressed;", "drive := pressed; horn := shut;"),
    )
    plain, with_horn = gate(tmp_path / "plain"), gate(tmp_path / "horn", *horn)
    for pair in ((plain, with_horn), (with_horn, plain)):
        assert "no output differs" not in conclusion(compared(*pair))


# Requirements that ask less

WEAKENED = [
    R1.replace("when: lamp", "when: lamp AND gate = SHUT"),
    R1.replace("judged", "scope: {before: gate = BETWEEN}, judged"),
    R1.replace("judged", "scope: {after: lamp AND drive}, judged"),
    "exists: lamp AND gate = SHUT, judged: after scan, hazards: [H1]}",
    "whenever: lamp AND gate = SHUT, leads_to: gate = SHUT, hazards: [H1]}",
    "can_still: lamp AND gate = SHUT, hazards: [H1]}",
]


@pytest.mark.parametrize("weaker", WEAKENED)
def test_a_weaker_requirement_does_not_hide_a_worse_program(tmp_path: Path, weaker: str) -> None:
    new = gate(tmp_path / "new", LYING, (R1, weaker))
    found = compared(gate(tmp_path / "old"), new)
    told = verdict(found)
    assert told.new is not None
    assert told.new.outcome is not Outcome.VIOLATED
    assert told.effect is Effect.WORSE
    assert told.former is not None
    assert told.former.finding is not None
    assert told.former.finding.outcome is Outcome.VIOLATED
    assert found.outcome is Outcome.VIOLATED


def test_a_weaker_requirement_is_no_improvement_of_what_was_violated(tmp_path: Path) -> None:
    new = gate(tmp_path / "new", LYING, (R1, WEAKENED[0]))
    found = compared(gate(tmp_path / "old", LYING), new)
    assert verdict(found).effect is Effect.WORSE


def test_a_weaker_term_does_not_hide_a_worse_program(tmp_path: Path) -> None:
    def with_term(means: str) -> tuple[tuple[str, str], ...]:
        terms = f"terms:\n  closed: {means}\nrequirements:"
        return (("requirements:", terms), (R1, R1.replace("gate = SHUT", "closed")))

    old = gate(tmp_path / "old", *with_term("gate = SHUT"))
    new = gate(tmp_path / "new", LYING, *with_term("gate = SHUT OR gate = BETWEEN OR lamp"))
    assert verdict(compared(old, new)).effect is Effect.WORSE


def test_what_is_no_longer_asked_is_never_better(tmp_path: Path) -> None:
    gone = (f"  R1: {{says: the lamp tells the truth, {R1}\n", "")
    found = compared(gate(tmp_path / "old", LYING), gate(tmp_path / "new", LYING, gone))
    told = verdict(found)
    assert (told.effect, told.is_worse) == (Effect.DROPPED, True)
    assert told.former is not None
    assert told.former.finding is not None
    assert told.former.finding.outcome is Outcome.VIOLATED


def test_it_is_told_where_the_old_statement_of_a_weaker_requirement_holds(tmp_path: Path) -> None:
    found = compared(gate(tmp_path / "old"), gate(tmp_path / "new", (R1, WEAKENED[0])))
    told = verdict(found)
    assert told.effect is Effect.RESTATED
    assert told.former is not None
    assert told.former.finding is not None
    assert told.former.finding.outcome is Outcome.HOLDS
    assert found.outcome is Outcome.HOLDS


def test_an_old_statement_whose_names_are_gone_is_said_to_be_unjudged(tmp_path: Path) -> None:
    renamed = (("gate", "leaf"), ("title: Gate", "title: Leaf"))
    found = compared(gate(tmp_path / "old"), gate(tmp_path / "new", *renamed))
    told = verdict(found)
    assert told.effect is Effect.UNDECIDED
    assert told.former is not None
    assert "gate" in told.former.why_not
    assert found.outcome is Outcome.UNDECIDED


def test_states_in_another_order_ask_nothing_else(tmp_path: Path) -> None:
    other = ("states: [SHUT, BETWEEN, OPEN]", "states: [OPEN, SHUT, BETWEEN]\n    initial: SHUT")
    found = compared(gate(tmp_path / "old"), gate(tmp_path / "new", other))
    assert {v.effect for v in found.verdicts} == {Effect.SAME}
    assert all(v.former is None for v in found.verdicts)


CLAIM = (R1, R1.replace("judged: after scan", "judged: after scan, survives: 1"))


def test_a_lowered_claim_that_was_not_judged_is_worse(tmp_path: Path) -> None:
    found = compared(gate(tmp_path / "old", CLAIM), gate(tmp_path / "new"))
    assert verdict(found).effect is Effect.WORSE


def test_a_lowered_claim_is_judged_as_it_was(tmp_path: Path) -> None:
    # A switch stuck shut and a drive shorted on make the lamp lie; nothing else does.
    harmless = ("stuck: 'TRUE'}\n  F2", "stuck: 'FALSE'}\n  F2")
    frozen = ("stuck: frozen, intermittent: true", "stuck: 'FALSE'")
    driven = ("output: drive, stuck: 'TRUE'", "output: drive, stuck: 'FALSE'")
    kept = (harmless, frozen, driven)
    old, new = gate(tmp_path / "old", CLAIM, *kept), gate(tmp_path / "new", *kept)
    told = verdict(compared(old, new, with_faults=True))
    assert told.effect is Effect.RESTATED
    worse = verdict(compared(old, gate(tmp_path / "worse"), with_faults=True))
    assert worse.effect is Effect.WORSE


def test_a_claim_against_fewer_faults_is_no_better_one(tmp_path: Path) -> None:
    only = [
        ("  F4: {says: switch frozen, sensor: shut, stuck: frozen, intermittent: true}\n", ""),
        ("  F5: {says: drive shorted on, output: drive, stuck: 'TRUE'}\n", ""),
    ]
    excluded = ("sensor: shut, stuck: 'TRUE'}", "sensor: shut, stuck: 'TRUE', excluded: rare}")
    old = gate(tmp_path / "old", CLAIM, *only)
    for name, change in (
        ("excluded", excluded),
        ("gone", ("  F1: {says: switch stuck shut, sensor: shut, stuck: 'TRUE'}\n", "")),
    ):
        found = compared(old, gate(tmp_path / name, CLAIM, *only, change), with_faults=True)
        assert verdict(found).effect is not Effect.BETTER
        assert verdict(found).former is not None


def test_a_hazard_that_a_requirement_no_longer_guards_is_told(tmp_path: Path) -> None:
    found = compared(
        gate(tmp_path / "old"), gate(tmp_path / "new", (R1, R1.replace(", hazards: [H1]", "")))
    )
    assert verdict(found).effect is Effect.RESTATED
    (hazard,) = find_impact(found).of_kind("hazard")
    assert any("no requirement" in why for why in hazard.why)


def test_what_now_counts_as_a_human_error_makes_nothing_better(tmp_path: Path) -> None:
    # Somebody lifts the gate by hand, past the switch; then that is declared an error.
    lifted = "      - {from: SHUT, to: OPEN, by: operator, says: lifts the gate}\ncontrols:"
    deaf = (LAMP, "lamp := NOT drive;")
    shut = ("when: drive, says: the gate leaves", "when: drive AND button AND NOT button, says: x")
    old = gate(tmp_path / "old", deaf, shut, ("controls:", lifted))
    new = gate(tmp_path / "new", deaf, shut, ("controls:", lifted.replace("operator", "human")))
    told = verdict(compared(old, new))
    assert told.effect is Effect.WORSE
    assert told.former is not None
    assert any("human error" in less for less in told.former.asks_less)


# What is touched


def test_what_a_touched_machine_moves_is_touched(tmp_path: Path) -> None:
    asks = ("lamp}", "lamp}\n  R2: {says: the latch can be in, can_still: latch = IN OR lamp}")
    always = ("from: SHUT, to: OPEN, by", "from: SHUT, to: OPEN, when: lamp, by")
    old = door(tmp_path / "old", PULLED, asks)
    found = compared(old, door(tmp_path / "new", PULLED, asks, always))
    assert touched(find_impact(found), "machine") == {"door", "latch"}
    assert touched(find_impact(found), "requirement") >= {"R2"}


def test_a_machine_that_another_no_longer_takes_along_is_touched(tmp_path: Path) -> None:
    found = compared(door(tmp_path / "old", PULLED), door(tmp_path / "new", FORCED))
    assert touched(find_impact(found), "machine") == {"door", "latch"}


def reading_back(folder: Path, *changes: tuple[str, str]) -> Model:
    """The gate with a signal that reads the drive back, and a lamp and a requirement behind it."""
    return gate(
        folder,
        ("  pressed: {reads: button}", "  pressed: {reads: button}\n  runs: {reads: drive}"),
        ("shut, pressed : BOOL", "shut, pressed, runs : BOOL"),
        (LAMP, "lamp := runs;"),
        (f"  R1: {{says: the lamp tells the truth, {R1}\n",
         "  R1: {says: the lamp may burn, can_still: lamp}\n"
         "  R5: {says: the drive may be seen, about: signals, exists: NOT runs}\n"),
        *changes,
    )  # fmt: skip


def test_what_reads_a_touched_output_back_is_touched(tmp_path: Path) -> None:
    shy = ("drive := pressed;", "drive := pressed AND shut;")
    impact = find_impact(compared(reading_back(tmp_path / "a"), reading_back(tmp_path / "b", shy)))
    assert "runs" in touched(impact, "signal")
    assert touched(impact, "output") == {"drive", "lamp"}
    assert touched(impact, "requirement") >= {"R1", "R5"}


def test_a_requirement_about_a_changed_signal_is_touched(tmp_path: Path) -> None:
    asked = ("requirements:", "requirements:\n  R0: {says: s, about: signals, exists: pressed}")
    early = ("reads: button}", "reads: button OR gate = OPEN}")
    new = gate(tmp_path / "new", asked, early)
    found = compared(gate(tmp_path / "old", asked), new)
    assert "R0" in touched(find_impact(found), "requirement")


def test_memory_that_a_restart_no_longer_clears_touches_what_it_decides(tmp_path: Path) -> None:
    def remembering(kind: str) -> tuple[tuple[str, str], tuple[str, str]]:
        declared = f"drive, lamp : BOOL; END_VAR\n{kind} seen : BOOL; END_VAR"
        return (
            ("drive, lamp : BOOL; END_VAR", declared),
            (LAMP, "seen := seen OR pressed;\nlamp := shut AND NOT drive AND NOT seen;"),
        )

    old = gate(tmp_path / "old", *remembering("VAR"), CLAIM)
    found = compared(old, gate(tmp_path / "new", *remembering("VAR RETAIN"), CLAIM))
    impact = find_impact(found)
    assert touched(impact, "output") == {"lamp"}
    assert "R1" in touched(impact, "requirement")
    assert any("seen" in step.action for step in impact.steps)


def test_another_number_of_moves_between_scans_touches_every_machine(tmp_path: Path) -> None:
    twice = ("title: Gate", "title: Gate\nrun: {between_scans: two in all}")
    found = compared(gate(tmp_path / "old"), gate(tmp_path / "new", twice))
    assert touched(find_impact(found), "machine") == {"gate", "button"}
    assert find_impact(found).untouched == ()


def test_a_shorter_duration_touches_a_machine_where_each_moves_once(tmp_path: Path) -> None:
    leaves = "from: SHUT, to: BETWEEN, when: drive"
    slow, quick = (
        (leaves, f"{leaves}, seconds: [{least}, 9], assumed: true") for least in (1, 0.02)
    )
    each = ("title: Gate", "title: Gate\nrun: {between_scans: each once}")
    found = compared(gate(tmp_path / "old", each, slow), gate(tmp_path / "new", each, quick))
    assert "gate" in touched(find_impact(found), "machine")
    assert "R1" in touched(find_impact(found), "requirement")


def test_another_fault_touches_what_claims_to_survive_faults(tmp_path: Path) -> None:
    longer = ("says: gate jams, machine: gate, jams_in: [BETWEEN]", "says: j, machine: gate")
    found = compared(gate(tmp_path / "old", CLAIM), gate(tmp_path / "new", CLAIM, longer))
    assert touched(find_impact(found), "requirement") == {"R1"}
    assert touched(find_impact(found), "hazard") == {"H1"}


def test_equal_without_faults_leaves_no_claim_about_faults_untouched(tmp_path: Path) -> None:
    # As long as no switch lies, the two lamps are the same.
    switch = (
        ("shut, pressed : BOOL", "shut, pressed, opened : BOOL"),
        ("  pressed: {reads", "  opened: {reads: gate <> SHUT}\n  pressed: {reads"),
    )
    other = (LAMP, "lamp := NOT opened AND NOT drive;")
    found = compared(
        gate(tmp_path / "a", CLAIM, *switch), gate(tmp_path / "b", CLAIM, *switch, other)
    )
    assert likeness(found)["lamp"] is Likeness.EQUAL
    assert "R1" in touched(find_impact(found), "requirement")
    assert "R3" in find_impact(found).untouched


# Moves of people


def test_a_newly_possible_move_of_an_operator_is_told_as_theirs(tmp_path: Path) -> None:
    found = compared(door(tmp_path / "old"), door(tmp_path / "new", FORCED)).moves
    (forced,) = found.gained
    assert (forced.move, forced.by) == ("door: SHUT to OPEN", "operator")


def test_a_move_that_changed_hands_is_not_newly_possible(tmp_path: Path) -> None:
    by_itself = (FORCED[0], FORCED[1].replace(", by: operator", ""))
    found = compared(door(tmp_path / "old", FORCED), door(tmp_path / "new", by_itself)).moves
    assert (found.gained, found.lost, found.n_unchanged) == ((), (), 1)


def test_a_control_that_can_newly_be_set_is_told(tmp_path: Path) -> None:
    free = "button: {says: the button}"
    old = gate(tmp_path / "old", (free, "button: {says: the button, when: gate = SHUT}"))
    gained = {(c.move, c.by) for c in compared(old, gate(tmp_path / "new")).moves.gained}
    assert ("button to FALSE", "operator") in gained


TWICE = (
    "lamp := TRUE;",
    "VAR late : TON; END_VAR late(IN := door_shut, PT := T#2s);\n"
    "IF latched THEN late(IN := door_shut); END_IF; lamp := late.Q;",
)


def test_a_timer_that_is_called_twice_in_a_scan_elapses_with_itself(tmp_path: Path) -> None:
    changed = (TWICE, PULLED)
    found = compared(door(tmp_path / "old", *changed), door(tmp_path / "new", *changed))
    assert likeness(found) == {"lamp": Likeness.EQUAL}


def test_classes_that_begin_and_end_alike_are_not_taken_for_the_same(tmp_path: Path) -> None:
    program = (
        "PROGRAM p VAR_INPUT n : INT; END_VAR VAR_OUTPUT q : BOOL; END_VAR "
        "q := n = 5 OR n = 32000 OR {}; END_PROGRAM"
    )
    yaml = (
        "title: Free\ncontroller: controller.st\nrequirements:\n"
        "  R1: {says: it is shown, exists: q}\n"
    )
    old = load(written(tmp_path / "old", yaml, program.format("n = 32000")))
    new = load(written(tmp_path / "new", yaml, program.format("n = 7")))
    assert compared(old, new).behaviour is None


BEGUN_AGAIN = (
    "lamp := TRUE;",
    "VAR late : TON; on : BOOL; END_VAR lamp := on;\n"
    "IF NOT on THEN late(IN := latched, PT := T#2s); on := late.Q;\n"
    "ELSE late(IN := FALSE); on := FALSE; END_IF;",
)
NUMBERED = (
    "lamp := TRUE;",
    "VAR late : TON; n : INT (0..1); END_VAR lamp := n = 1;\n"
    "IF n = 0 THEN late(IN := latched, PT := T#2s); n := BOOL_TO_INT(late.Q);\n"
    "ELSE late(IN := FALSE); n := 0; END_IF;",
)
BEGUN_TWICE = (NUMBERED[0], f"{NUMBERED[1]} late(IN := latched AND late.IN);")


@pytest.mark.parametrize(
    ("new", "found"), [(NUMBERED, Likeness.EQUAL), (BEGUN_TWICE, Likeness.DIFFERS)]
)
def test_a_timer_that_a_scan_can_only_end_is_due_with_its_namesake(
    new: tuple[str, str], found: Likeness, tmp_path: Path
) -> None:
    one, other = door(tmp_path / "old", BEGUN_AGAIN), door(tmp_path / "new", new)
    assert likeness(compared(one, other)) == {"lamp": found}


def varying(timer: str, shorter: str, other: str = "T#1500ms") -> tuple[str, str]:
    """A lamp that burns while one timer is over and another is not; the first one's time varies."""
    return (
        "lamp := TRUE;",
        f"VAR {timer}, b : TON; END_VAR {timer}(IN := door_shut, PT := SEL(latched, {shorter}));\n"
        f"b(IN := door_shut, PT := {other}); lamp := {timer}.Q AND NOT b.Q;",
    )


@pytest.mark.parametrize(
    ("new", "found"),
    [
        (varying("a", "T#2s, T#1s"), Likeness.EQUAL),
        (varying("c", "T#2s, T#1s"), Likeness.EQUAL),
        # Both are 2 s at most, and each is 2 s where the other is 1 s.
        (varying("a", "T#1s, T#2s"), Likeness.DIFFERS),
        (varying("c", "T#1s, T#2s"), Likeness.DIFFERS),
    ],
)
def test_timers_whose_preset_times_vary_are_due_together_only_where_these_are_alike(
    new: tuple[str, str], found: Likeness, tmp_path: Path
) -> None:
    pair = [door(tmp_path / "old", PULLED, varying("a", "T#2s, T#1s"))]
    pair.append(door(tmp_path / "new", PULLED, new))
    assert likeness(compared(*pair)) == {"lamp": found}


def test_a_preset_time_that_another_branch_gives_is_another_one(tmp_path: Path) -> None:
    # What a scan makes of the timer is the same expression in both, branch by branch.
    def timed(condition: str) -> tuple[str, str]:
        calls = (f"a(IN := door_shut, PT := T#{n}s);" for n in (1, 2))
        return (
            "lamp := TRUE;",
            "VAR a, b : TON; END_VAR\n"
            f"IF {condition} THEN {next(calls)} ELSE {next(calls)} END_IF;\n"
            "b(IN := door_shut, PT := T#1500ms); lamp := a.Q AND NOT b.Q;",
        )

    models = [
        door(tmp_path / str(n), PULLED, timed(condition))
        for n, condition in enumerate(("latched", "NOT latched"))
    ]
    assert likeness(compared(*models)) == {"lamp": Likeness.DIFFERS}
    assert likeness(compared(models[0], models[0])) == {"lamp": Likeness.EQUAL}


def test_what_code_that_is_not_there_is_given_is_not_told_alike(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (
        "PROGRAM Main\nVAR_INPUT a, b : BOOL; END_VAR\nVAR_OUTPUT y : BOOL; END_VAR\n"
        "y := Ext(a);\nEND_PROGRAM\n"
    )
    yaml = "title: Ext\ncontroller: main.st\nrequirements:\n  R1: {says: SAYS, never: y AND b}\n"
    for folder, says, called in (("old", "one", "a"), ("said", "two", "a"), ("new", "one", "b")):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "model.yaml").write_text(yaml.replace("SAYS", says))
        (tmp_path / folder / "main.st").write_text(text.replace("Ext(a)", f"Ext({called})"))
    # To whoever does not know Ext both are the same: any value in each scan.
    assert run(["compare", str(tmp_path / "old"), str(tmp_path / "new")]) == 2
    said = capsys.readouterr().err
    assert "main.st:4:6: 'compare' cannot tell what differs where code is called that is" in said
    assert run(["compare", str(tmp_path / "old"), str(tmp_path / "said")]) == 0
    # Nor where the text is the same and what it reads is not.
    for folder, reads in (("pressed", "button"), ("let-go", "NOT button")):
        (tmp_path / folder).mkdir()
        plant = f"controls:\n  button: {{says: b}}\nsensors:\n  a: {{reads: {reads}}}\n"
        (tmp_path / folder / "model.yaml").write_text(yaml.replace("requ", plant + "requ"))
        (tmp_path / folder / "main.st").write_text(text)
    assert run(["compare", str(tmp_path / "pressed"), str(tmp_path / "let-go")]) == 2
