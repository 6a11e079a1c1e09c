"""How much of a time is ever taken: on a gate that moves at once and is shut 0.5 to 0.7 s later."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from interlock.engines.reference import ReferenceEngine
from interlock.judgement.margin import Margin, margin_data
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.kernel.system import MoveKind
from interlock.model.bound import Bound
from interlock.model.model import Model
from tests.second_opinion.opinion import opinions
from tests.second_opinion.world import Class
from tests.support.timed_gate import timed_gate

# By requirement with its time: what is told of it, or nothing where it is violated.
ASKED = {
    "whenever: drive, leads_to: gate = shut, within: 1 s": "at most 0.8 s of the allowed 1 s",
    "whenever: drive, leads_to: gate = shut, within: 799 ms": "",
    "once: gate = moving, at_least: 300 ms": "at least 0.5 s of the demanded 0.3 s",
    "once: gate = moving, at_least: 100 ms": (
        "nothing breaks it within 0.2 s, where 0.1 s are demanded"
    ),
    "once: gate = moving, at_least: 500 ms": "at least 0.5 s of the demanded 0.5 s",
    "once: gate = moving, at_least: 501 ms": "",
    # It is open from power-up on, with the first scan, and driven by the second at the soonest.
    "once: gate = open, at_least: 100 ms": "at least 0.1 s of the demanded 0.1 s",
    "once: gate = open, at_least: 101 ms": "",
    "once: gate = shut, at_least: 9 s": "nothing breaks it within 18 s, where 9 s are demanded",
    "once: gate = moving, at_least: 500 ms, scope: {after: drive}": (
        "at least 0.5 s of the demanded 0.5 s"
    ),
    "once: gate = moving, at_least: 501 ms, scope: {after: gate = moving}": "",
    "once: gate = moving, at_least: 501 ms, scope: {from: gate = moving, until: gate = shut}": (
        "nothing breaks it within 1.2 s, where 0.501 s are demanded"
    ),
    "lasts: gate = moving, at_most: 1 s": "at most 0.7 s of the allowed 1 s",
    "lasts: gate = moving, at_most: 700 ms": "at most 0.7 s of the allowed 0.7 s",
    "lasts: gate = moving, at_most: 699 ms": "",
    "recurs: gate <> moving, every: 700 ms": "at most 0.7 s of the allowed 0.7 s",
    "recurs: gate <> moving, every: 650 ms": "",
    "recurs: gate = shut, every: 900 ms, scope: {from: drive, until: gate = shut}": (
        "at most 0.8 s of the allowed 0.9 s"
    ),
    "begins: drive, not_yet: gate = shut, for: 500 ms": "at least 0.5 s of the demanded 0.5 s",
    "begins: drive, not_yet: gate = shut, for: 501 ms": "",
    "begins: gate = open, not_yet: drive, for: 100 ms": "at least 0.1 s of the demanded 0.1 s",
    "begins: gate = open, not_yet: drive, for: 101 ms": "",
    # It begins at power-up, a scan before the drive is on, and again with the drive: the fewest.
    "begins: NOT drive OR gate = moving, not_yet: gate = shut, for: 500 ms": (
        "at least 0.5 s of the demanded 0.5 s"
    ),
    # Driven it moves within 0.1 s, which comes before the scope opens; shut it moves no more.
    "begins: drive AND gate = open OR gate = shut, not_yet: gate = moving, for: 500 ms": "",
    "begins: drive AND gate = open OR gate = shut, not_yet: gate = moving, for: 500 ms, "
    "scope: {after: gate = shut}": "nothing breaks it within 1 s, where 0.5 s are demanded",
    "wherever: gate = open, stays: gate <> shut, for: 450 ms": (
        "at least 0.5 s of the demanded 0.45 s"
    ),
    "wherever: gate = open, stays: gate <> shut, for: 501 ms": "",
}


def asked(folder: Path, what: str) -> Model:
    last = "whenever: drive, leads_to: gate = shut}\n"
    return timed_gate(folder, (last, f"{last[:-1]}\n  R3: {{says: it takes its time, {what}}}\n"))


@pytest.mark.parametrize("what", ASKED)
def test_a_margin_is_found_by_search(tmp_path: Path, what: str) -> None:
    finding = verify(asked(tmp_path, what), ReferenceEngine(), only=["R3"]).findings[-1]
    assert finding.outcome is (Outcome.HOLDS if ASKED[what] else Outcome.VIOLATED)
    assert ("" if finding.margin is None else finding.margin.says) == ASKED[what]


@pytest.mark.parametrize("what", [what for what, told in ASKED.items() if told])
def test_a_margin_is_the_sharpest_bound_that_the_second_opinion_finds_kept(
    tmp_path: Path, what: str
) -> None:
    model = asked(tmp_path, what)
    margin = verify(model, ReferenceEngine(), only=["R3"]).findings[-1].margin
    assert margin is not None

    def is_violated(ms: int) -> bool:
        bound = Bound(0, float(ms), "", MoveKind.TIME)
        statements = {"R3": replace(model.statements["R3"], within=bound)}
        return opinions(replace(model, statements=statements), Class())["R3"].is_violated

    assert not is_violated(margin.taken_ms)
    if not margin.is_beyond:
        assert is_violated(margin.taken_ms + (100 if margin.is_least else -100))


@pytest.mark.parametrize(
    ("margin", "told"),
    [
        (Margin(300, 500.0), {}),
        (Margin(500, 300.0, is_least=True), {"is_least": True}),
        (Margin(900, 300.0, is_least=True, is_beyond=True), {"is_least": True, "is_beyond": True}),
    ],
)
def test_a_margin_says_as_data_what_it_says_in_words(margin: Margin, told: dict[str, bool]) -> None:
    times = {"taken_ms": margin.taken_ms, "within_ms": margin.allowed_ms}
    assert margin_data(margin) == {**times, **told}
