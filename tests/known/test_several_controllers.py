"""Two controllers that scan by themselves, against published facts on two processes.

* Mutual exclusion with one writer for each variable: Kessels, "Arbitration without common
  modifiable variables", Acta Informatica 17 (1982), which is Peterson's algorithm ("Myths about
  the mutual exclusion problem", 1981) with its turn as two bits; both from memory. A step is a
  scan. It excludes and starves nobody where a read gives what was there since the process' own
  last step, which is what an age of one scan says. With its two writes exchanged it does not
  exclude; nor does it where a read may pass an own write before it, as in stores that are buffered
  (Adve and Gharachorloo, "Shared memory consistency models", 1996, from memory), which is what an
  age of two scans allows.
* One-out-of-two and two-out-of-two voting as IEC 61508-6 has them, from memory: where either of two
  channels can switch on, one that fails on is enough for a false start and one that fails off for
  nothing; where both must, it is the other way round.
"""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest

from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.build import RunClass
from interlock.model.load import load

STEPS = {
    "asks": "q := TRUE;",
    "yields": "turn := {yielded};",
    "waits": "IF NOT other_q OR {passes} THEN inside := TRUE;{q} ELSE step := step - 1; END_IF;",
    "leaves": "inside := FALSE; q := FALSE;",
}
KESSELS = (("asks",), ("yields",), ("waits",), ("leaves",))
EXCHANGED = (("yields",), ("asks",), ("waits",), ("leaves",))
AT_ONCE = (("asks", "yields", "waits"), ("leaves",))
LOOKS_FIRST = (("waits",), ("asks",), ("leaves",))


def process(number: int, steps: tuple[tuple[str, ...], ...], has_turn: bool) -> str:
    """One process as a program: a scan a step; at its first it also waits to be wanted."""
    yielded = "NOT other_turn" if number else "other_turn"
    passes = ("turn = other_turn" if number else "turn <> other_turn") if has_turn else "FALSE"
    words = {"yielded": yielded, "passes": passes, "q": ""}
    lines = []
    for at, step in enumerate(steps):
        does = " ".join(STEPS[part].format(**words) for part in step)
        # Waiting is one step back and one on.
        if at == 0:
            does = f"IF wants THEN {does} ELSE step := -1; END_IF;"
        lines.append(f"{at}: {does} step := (step + 1) MOD {len(steps)};")
    return (
        f"PROGRAM Process{number}\nVAR_INPUT wants, other_q, other_turn : BOOL; END_VAR\n"
        "VAR_OUTPUT q, turn, inside : BOOL; END_VAR\nVAR step : INT (-1..9) := 0; END_VAR\n"
        "CASE step OF\n" + "\n".join(lines) + "\nEND_CASE\nEND_PROGRAM\n"
    )


def outcomes(
    folder: Path,
    steps: tuple[tuple[str, ...], ...] = KESSELS,
    age: str = "",
    has_turn: bool = True,
    engine: str = "enumerate",
) -> tuple[Outcome, Outcome, Outcome]:
    """Whether two processes exclude each other, and whether either is ever let in."""
    for number in (0, 1):
        text = process(number, steps, has_turn)
        (folder / f"p{number}.st").write_text(text, encoding="utf-8")
    aged = f", age: {age}" if age else ""
    sensors = "\n".join(
        f"  p{n}.other_{what}: {{reads: p{1 - n}.{what}{aged}}}"
        for n, what in product((0, 1), ("q", "turn"))
    )
    either = "\n".join(f"  {what}: p0.{what} OR p1.{what}" for what in ("q", "turn", "inside"))
    yaml = f"""\
title: Two processes
controllers: {{p0: {{program: p0.st}}, p1: {{program: p1.st}}}}
sensors:
{sensors}
terms:
{either}
requirements:
  MUTEX: {{says: never both, never: p0.inside AND p1.inside}}
  IN0: {{says: let in, whenever: p0.q, leads_to: p0.inside}}
  IN1: {{says: let in, whenever: p1.q, leads_to: p1.inside}}
"""
    (folder / "model.yaml").write_text(yaml, encoding="utf-8")
    found = verify(load(folder), catalogue()[engine]()).findings
    outcomes = {finding.requirement.id: finding.outcome for finding in found}
    assert outcomes.get("ARITHMETIC", Outcome.HOLDS) is Outcome.HOLDS
    return outcomes["MUTEX"], outcomes["IN0"], outcomes["IN1"]


@pytest.mark.parametrize("engine", ["enumerate", "reference", "symbolic"])
def test_the_algorithm_excludes_and_starves_nobody(tmp_path: Path, engine: str) -> None:
    assert outcomes(tmp_path, engine=engine) == (Outcome.HOLDS,) * 3


@pytest.mark.parametrize("steps", [EXCHANGED, LOOKS_FIRST])
def test_with_its_writes_in_another_order_it_does_not_exclude(
    tmp_path: Path, steps: tuple[tuple[str, ...], ...]
) -> None:
    assert outcomes(tmp_path, steps)[0] is Outcome.VIOLATED


def test_without_a_turn_it_excludes_but_starves(tmp_path: Path) -> None:
    assert outcomes(tmp_path, has_turn=False) == (Outcome.HOLDS, *[Outcome.VIOLATED] * 2)


def test_a_read_that_passes_an_own_write_spoils_it(tmp_path: Path) -> None:
    assert outcomes(tmp_path, age="2 scans")[0] is Outcome.VIOLATED


def test_all_in_one_scan_excludes_only_where_scans_do_not_overlap(tmp_path: Path) -> None:
    assert outcomes(tmp_path, AT_ONCE, age="0 scans")[0] is Outcome.HOLDS
    assert outcomes(tmp_path, AT_ONCE)[0] is Outcome.VIOLATED


CHANNEL = """\
PROGRAM Channel
VAR_INPUT demand : BOOL; END_VAR
VAR_OUTPUT start : BOOL; END_VAR
start := demand;
END_PROGRAM
"""
VOTED = """\
title: Two channels
controllers:
  one: {{program: c.st, scans_while: NOT one_dead}}
  two: {{program: c.st, scans_while: NOT two_dead}}
controls: {{demand: {{}}}}
sensors: {{demand: {{reads: demand}}}}
terms: {{start: one.start {either} two.start}}
plant:
  motor:
    states: [still, runs]
    moves: [{{from: still, to: runs, when: start}}, {{from: runs, to: still, when: NOT start}}]
  asked: {{states: ['no', 'yes'], moves: [{{from: 'no', to: 'yes', when: demand}}]}}
requirements:
  FALSE_START: {{says: only when asked, event: motor = runs, only_after: asked = yes OR demand}}
  STARTS: {{says: starts, whenever: demand, leads_to: start OR NOT demand}}
faults:
  one_on: {{says: stuck on, outputs: {{one.start: 'TRUE'}}}}
  two_on: {{says: stuck on, outputs: {{two.start: 'TRUE'}}}}
  one_dead: {{says: stands still}}
  two_dead: {{says: stands still}}
"""


def breaks(folder: Path, requirement: str, *faults: str) -> bool:
    """Whether these faults together can break a requirement of the voted channels."""
    found = verify(load(folder), catalogue()["enumerate"](), RunClass(faults, None), [requirement])
    return found.findings[0].verdict.outcome is Outcome.VIOLATED


@pytest.mark.parametrize(("either", "requirement", "other"), [
    ("OR", "FALSE_START", "STARTS"), ("AND", "STARTS", "FALSE_START"),
])  # fmt: skip
def test_channels_vote_as_published(
    tmp_path: Path, either: str, requirement: str, other: str
) -> None:
    (tmp_path / "c.st").write_text(CHANNEL, encoding="utf-8")
    (tmp_path / "model.yaml").write_text(VOTED.format(either=either), encoding="utf-8")
    kinds = {"FALSE_START": ("one_on", "two_on"), "STARTS": ("one_dead", "two_dead")}
    assert [breaks(tmp_path, requirement, one) for one in kinds[requirement]] == [True, True]
    assert [breaks(tmp_path, other, one) for one in kinds[other]] == [False, False]
    assert breaks(tmp_path, other, *kinds[other])
    assert not breaks(tmp_path, requirement)
