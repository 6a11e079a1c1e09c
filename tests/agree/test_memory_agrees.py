"""What a block remembers, as it is drawn, against every scan that an interpreter can make.

The interpreter shares nothing with the lowering but names. It is given any inputs in any scan, as
the benches of the blocks are.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from pathlib import Path

import pytest

from interlock.engines import catalogue
from interlock.model.build import build
from interlock.model.load import load
from interlock.model.model import Model
from interlock.pictures.collection import draw_model
from interlock.pictures.shown import memory as study
from interlock.pictures.shown.memory import MemoryStudy, Remembered
from interlock.st.interpret import Controller
from tests.support.gate import written
from tests.support.models import shipped

Memory = dict[str, int]
Scan = tuple[Memory, Memory, Memory]
"""What is remembered before, what is read, what is remembered after."""

BLOCKS = (
    "emergency-stop",
    "enabling-switch",
    "equivalent-channels",
    "guard-locking",
    "mode-selector",
    "two-hand-2",
    "two-hand-3",
)


def all_scans(model: Model) -> Iterator[Scan]:
    """Every scan in every memory that can come about."""
    controller = Controller(model.program, model.settings)
    names = [declared.name for declared in model.program.inputs]
    rows = [dict(zip(names, r, strict=True)) for r in product((0, 1), repeat=len(names))]
    open_ = [controller.exact_values()]
    known = {tuple(open_[0].values())}
    while open_:
        before = open_.pop()
        for inputs in rows:
            controller.remember(before)
            controller.scan(inputs)
            after = controller.exact_values()
            yield before, inputs, after
            if tuple(after.values()) not in known:
                known.add(tuple(after.values()))
                open_.append(after)


def found_in(model: Model) -> tuple[Remembered, ...]:
    built = build(model)
    asked = MemoryStudy(built)
    explored = catalogue()["enumerate"]().explore(built.system, asked.queries)
    return asked.result(explored.answers)


def number_of(one: Remembered, memory: Memory) -> int:
    """Which of its states this is."""

    def fits(said: str) -> bool:
        part, is_number, number = said.removeprefix("NOT ").partition(" = ")
        value = memory[f"plc.{one.name}.{part}"]
        return value == int(number) if is_number else bool(value) is (part == said)

    (number,) = (n for n, state in enumerate(one.states) if all(map(fits, state)))
    return number


def is_so(said: str, scan: Scan) -> bool:
    before, inputs, after = scan
    name = said.removeprefix("NOT ")
    if name.endswith(" before"):
        inner = name.removesuffix(" before")
        value = before.get(f"plc.{inner}", before.get(inner))
    else:
        value = inputs.get(name, after.get(f"plc.{name}"))
    assert value is not None, said
    return bool(value) is (name == said)


def compared(model: Model) -> tuple[int, int]:
    """How many passages were compared, and how many of them are exact."""
    found = [one for one in found_in(model) if one.name != model.program.name]
    scans = list(all_scans(model))
    assert found
    for one in found:
        assert one.is_complete
        passages = {(p.source, p.target): p for p in one.passages}
        taken = set()
        for scan in scans:
            source, target = (number_of(one, memory) for memory in (scan[0], scan[2]))
            for (start, end), passage in passages.items():
                holds = any(all(is_so(x, scan) for x in term) for term in passage.when)
                if start == source:
                    assert holds or end != target
                    assert not (holds and passage.is_exact) or end == target
            if source != target:
                assert (source, target) in passages
                taken.add((source, target))
        assert taken == set(passages)
        assert {end for pair in taken for end in pair} | {0} == set(range(len(one.states)))
    every = [passage for one in found for passage in one.passages]
    return len(every), sum(passage.is_exact for passage in every)


@pytest.mark.parametrize("name", BLOCKS)
def test_every_scan_of_a_block_is_drawn_with_the_condition_that_it_has(name: str) -> None:
    n_passages, n_exact = compared(shipped(f"blocks/{name}"))
    assert n_passages > 1
    assert n_exact == n_passages


LATE_YAML = """\
title: A pair
controller: controller.st
controls: {button: {}}
sensors:
  a: {reads: button}
  b: {reads: button, age: 1 scan}
requirements:
  R1: {says: never, never: seen}
"""
LATE_ST = """\
PROGRAM Pair
VAR_INPUT a, b : BOOL; END_VAR
VAR_OUTPUT seen : BOOL; END_VAR
seen := seen OR a AND NOT b;
END_PROGRAM
"""


def test_what_a_scan_reads_of_a_late_signal_changes_what_is_remembered(tmp_path: Path) -> None:
    # Both sensors read one button: only where one comes late do they ever differ.
    (late,) = found_in(load(written(tmp_path / "late", LATE_YAML, LATE_ST)))
    (passage,) = late.passages
    assert (late.states, passage.when) == ((("NOT seen",), ("seen",)), (("a", "NOT b"),))
    fresh = LATE_YAML.replace(", age: 1 scan", "")
    assert found_in(load(written(tmp_path / "fresh", fresh, LATE_ST))) == ()


@pytest.mark.parametrize("name", ["two-hand-3", "guard-locking"])
def test_what_is_told_of_many_signals_is_needed(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(study, "MOST_TOGETHER", 0)
    n_passages, n_exact = compared(shipped(f"blocks/{name}"))
    assert n_passages > 1
    assert n_exact == 0


def test_what_has_too_much_for_a_diagram_is_named(tmp_path: Path) -> None:
    counter = (
        "PROGRAM Pair\nVAR_INPUT a, b : BOOL; END_VAR\nVAR_OUTPUT seen : BOOL; END_VAR\n"
        "VAR n : INT (0..30); END_VAR\nIF a THEN n := (n + 1) MOD 30; END_IF\nseen := n > 3;\n"
        "END_PROGRAM\n"
    )
    drawn = draw_model(
        load(written(tmp_path, LATE_YAML, counter)), catalogue()["enumerate"](), ["memory"]
    )
    assert (drawn.pictures, drawn.left_out) == ((), ("n",))
