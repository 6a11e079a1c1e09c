"""Wren holds and can be converted both ways; each design change breaks what it is known to."""

from __future__ import annotations

import difflib
from dataclasses import replace

import pytest

from interlock.commands.faults.runs import RunFinder
from interlock.engines import catalogue
from interlock.judgement.finding import Finding
from interlock.judgement.ledger import ask_between_scans
from interlock.judgement.verify import verify
from interlock.kernel.expr import and_
from interlock.kernel.query import Reach
from interlock.model.between import EACH_ONCE, ONE_IN_ALL, BetweenScans
from interlock.model.build import FAULT_FREE, RunClass, build
from interlock.model.model import Model
from tests.support.engines import explore_with
from tests.support.models import MODELS, folders, shipped, undecided, vacuous, verified, violated

ENGINE = "symbolic"  # Wren has 25,817,718,921 states; listing them would take hours.

# The requirement that each change puts at risk first; `expected` of the revision names all.
AT_RISK = {
    "alarm-muted-standing": ["R21"],
    "creep-at-transfer": ["R11"],
    "detented-slide-valve": ["R05", "R12"],
    "edge-for-release": ["R18"],
    "green-from-valve": ["R01", "R36"],
    "guard-early": ["R27"],
    "lamp-before-inputs": ["R37"],
    "last-button-wins": ["R14b"],
    "one-touch-lowering": ["R12", "R19t"],
}
# The same for changes whose harm takes a fault to be seen, with one that shows it.
AT_RISK_UNDER = {
    "kept-over-a-dip": [("F39", ["R18c"])],
    "leg-contact-opening": [("F28w", ["R36b"])],
    "one-lock-sensor": [("F01", ["R01", "R36"])],
    "slow-lock-filter": [("F10t", ["R20"])],
}
# Of these, what is violated without a fault, too; with counted timers there are too many states to
# see them all, as the test of `AT_RISK` does.
AT_RISK_ANYWAY = {"slow-lock-filter": ["R01", "R02", "R36", "R40"]}
# What is violated without a fault only where more than one move may come between two scans.
AT_RISK_BETWEEN_SCANS = {"kept-over-a-dip": ["R09", "R39"]}
CHANGED = sorted((*AT_RISK, *AT_RISK_UNDER))
# Requirements about harm that takes a component fault: without one their premise cannot occur.
NEED_A_FAULT = {"R18c", "R20", "R22", "R23"}


def one_by_one(name: str) -> Model:
    """A model with one move between two scans: what it violates then, it violates with more."""
    return shipped(name).assuming(ONE_IN_ALL)


def broken_anyway(name: str) -> list[str]:
    """What a change is shown to violate without a fault."""
    tables = (AT_RISK, AT_RISK_ANYWAY, AT_RISK_BETWEEN_SCANS)
    return [id_ for table in tables for id_ in table.get(name, [])]


def program(name: str) -> list[str]:
    model = shipped(name)
    return model.sources[model.program.place.file].splitlines()


def test_every_change_that_breaks_something_is_tested() -> None:
    changes = folders("wren-changed")
    models = {name: shipped(f"wren-changed/{name}") for name in changes}
    breaking = {name for name, m in models.items() if m.expected_violated}
    # Not a line of the program differs in the last; it has a test of its own.
    assert breaking == {*AT_RISK, *AT_RISK_ANYWAY, *AT_RISK_BETWEEN_SCANS, "knob-alone"}
    assert {name for name, m in models.items() if m.expected_under} == set(AT_RISK_UNDER)
    assert set(models) - set(CHANGED) == {
        *("drawn-in-blocks", "drawn-in-ladder", "in-blocks", "knob-alone", "tidied"),
        "with-channel-blocks",
    }


@pytest.mark.parametrize("name", CHANGED)
def test_a_change_names_what_it_breaks_and_differs_from_wren_in_a_few_lines(name: str) -> None:
    model = shipped(f"wren-changed/{name}")
    assert model.changes
    assert model.says != shipped("wren").says
    assert set(broken_anyway(name)) <= set(model.expected_violated)
    for fault, broken in AT_RISK_UNDER.get(name, []):
        assert set(broken) <= set(model.expected_under[fault])
    lines = difflib.unified_diff(program("wren"), program(f"wren-changed/{name}"), n=0)
    changed = [line for line in lines if line[:1] in "+-" and line[:3] not in ("+++", "---")]
    # If this fails for every change at once, Wren's program was edited and theirs were not.
    assert 2 <= len(changed) <= (40 if name == "last-button-wins" else 13)


def test_the_list_names_every_change_with_what_it_breaks() -> None:
    rows = {}
    for line in (MODELS / "wren-changed" / "README.md").read_text("utf-8").splitlines():
        cells = [cell.strip() for cell in line.split("|")[1:-1]]
        if len(cells) == 5 and cells[0].rstrip("★").isdigit():
            rows[cells[0].rstrip("★")] = cells
    assert list(rows) == [str(number) for number in range(1, 15)]
    told = {cells[1].strip("`").removeprefix("../"): cells for cells in rows.values()}
    assert set(told) == {*CHANGED, "wren-single/one-connector"}
    for name in CHANGED:
        broken = [
            *broken_anyway(name),
            *(i for _, ids in AT_RISK_UNDER.get(name, []) for i in ids),
        ]
        assert set(broken) <= set(told[name][3].replace(",", " ").split()), name
        for fault, _ in AT_RISK_UNDER.get(name, []):
            assert fault in told[name][4]


@pytest.mark.slow
def test_what_one_move_between_two_scans_hides_falls_in_seven_steps() -> None:
    model = one_by_one("wren-changed/knob-alone")
    engine = catalogue()[ENGINE]()
    _, leanings = ask_between_scans(verify(model, engine, FAULT_FREE, ["R17"]), verify, engine)
    (leaning,) = (leaning for leaning in leanings if leaning.requirement == "R17")
    assert leaning.falls_with == EACH_ONCE
    assert leaning.n_steps == 7
    assert set(model.expected_violated) == {"R17", "R30"}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("between", "n_states"), [(EACH_ONCE, 25_817_718_921), (ONE_IN_ALL, 14_383_001)]
)
def test_wren_holds(between: BetweenScans, n_states: int) -> None:
    verification = verified(shipped("wren").assuming(between), ENGINE)
    assert not violated(verification) | undecided(verification)
    assert vacuous(verification) == NEED_A_FAULT
    assert verification.exploration.n_states == n_states


def test_the_channel_blocks_are_those_of_the_library() -> None:
    for name in ("antivalent-channels", "equivalent-channels"):
        (kept,) = (MODELS / "blocks" / name).glob(f"{name.replace('-', '_')}.st")
        copied = MODELS / "wren-changed" / "with-channel-blocks" / "program" / kept.name
        assert copied.read_bytes() == kept.read_bytes()


@pytest.mark.slow
def test_with_channel_blocks_a_stuck_lock_sensor_harms_nobody() -> None:
    # All of its requirements, with their claims: interlock verify (166 s of CPU).
    model = shipped("wren-changed/with-channel-blocks")
    engine = catalogue()[ENGINE]()
    found = verify(model, engine, RunClass(("F01",), 1), ["R01", "R36"])
    assert not violated(found) | undecided(found) | vacuous(found)


@pytest.mark.slow
def test_as_it_once_was_wren_has_as_many_states_as_it_had() -> None:
    built = build(one_by_one("wren-changed/knob-alone"))
    assert explore_with(ENGINE, built.system, []).n_states == 12_290_645


@pytest.mark.slow
def test_wren_can_be_converted_both_ways() -> None:
    built = build(one_by_one("wren"))
    rigid, articulated = built.requirements["R31"].p, built.requirements["R32"].p
    # R31 and R32 hold (above), so the way back is open as well; here is that there is a way out.
    queries = [Reach(rigid), Reach(articulated), Reach(and_(rigid, articulated))]
    out, start, both = explore_with(ENGINE, built.system, queries).answers
    assert (out.found, start.found, both.found) == (True, True, False)
    assert out.witness is not None
    taken = {step.move for step in out.witness.steps}
    assert {
        "lift: MID to UP",
        "lift: MID to DOWN",
        "rel: PART to CLEAR",
        "guard: MID to OUT",
    } <= taken


@pytest.mark.slow
@pytest.mark.parametrize("name", AT_RISK)
def test_a_change_breaks_the_requirement_at_risk_with_a_replayed_run(name: str) -> None:
    verification = verified(one_by_one(f"wren-changed/{name}"), ENGINE, only=AT_RISK[name])
    assert violated(verification) == set(AT_RISK[name])
    for finding in verification.findings:
        assert n_scans(finding) > 0


@pytest.mark.slow
@pytest.mark.parametrize("name", AT_RISK_UNDER)
def test_a_change_breaks_the_requirement_at_risk_where_a_fault_strikes(name: str) -> None:
    for fault, broken in AT_RISK_UNDER[name]:
        finder = RunFinder(one_by_one(f"wren-changed/{name}"), catalogue()["enumerate"]())
        runs = finder.shortest((fault,), broken)
        assert list(runs) == broken
        assert {run.faults for run in runs.values()} == {(fault,)}


@pytest.mark.slow
@pytest.mark.parametrize("name", AT_RISK_ANYWAY)
def test_such_a_change_may_break_others_without_a_fault(name: str) -> None:
    finder = RunFinder(one_by_one(f"wren-changed/{name}"), catalogue()["enumerate"]())
    runs = finder.shortest((), AT_RISK_ANYWAY[name])
    assert list(runs) == AT_RISK_ANYWAY[name]
    for run in runs.values():
        assert (run.faults, run.human_errors) == ((), ())


@pytest.mark.slow
@pytest.mark.parametrize("name", AT_RISK_BETWEEN_SCANS)
def test_such_a_change_may_break_others_between_two_scans(name: str) -> None:
    only = AT_RISK_BETWEEN_SCANS[name]
    assert violated(verified(shipped(f"wren-changed/{name}"), "symbolic", only=only)) == set(only)
    assert not violated(verified(one_by_one(f"wren-changed/{name}"), "symbolic", only=only))


@pytest.mark.slow
def test_wren_keeps_what_those_changes_lose() -> None:
    # R20 with the bound that the change with the slow filter gives it.
    bound = shipped("wren-changed/slow-lock-filter").statements["R20"].within
    assert bound is not None
    # As the changes were judged above.
    wren = one_by_one("wren")
    r20 = replace(wren.statements["R20"], within=bound)
    model = replace(wren, statements={**wren.statements, "R20": r20})
    pairs = [pair for pairs in AT_RISK_UNDER.values() for pair in pairs]
    faults = tuple(sorted({fault for fault, _ in pairs}))
    only = sorted({requirement for _, broken in pairs for requirement in broken})
    verification = verify(model, catalogue()[ENGINE](), RunClass(faults, 1), only)
    assert not violated(verification) | undecided(verification) | vacuous(verification)


def n_scans(finding: Finding) -> int:
    assert finding.run is not None
    return sum(happening.scan is not None for happening in finding.run.happenings)
