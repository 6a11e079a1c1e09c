"""The lowering and the interpreter, two readings of one program, give the same values."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from random import Random

import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st

from interlock.base.errors import InputError
from interlock.kernel.evaluate import bounds, evaluate
from interlock.kernel.expr import TRUE
from interlock.kernel.system import Move, MoveKind, System
from interlock.st import typed as ty
from interlock.st.check import check_program
from interlock.st.interpret import Controller
from interlock.st.layout import Settings, Timers
from interlock.st.load import load_program
from interlock.st.lower import Lowered, lower_program
from interlock.st.parser import parse_program
from interlock.st.write import write_program
from tests.support.programs import Act, acts, programs
from tests.support.scalars import Scalars, input_values

_relaxed = settings(
    max_examples=80,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)


def _load(text: str) -> ty.Program:
    try:
        return load_program(text, "random.st")
    except InputError:
        reject()


class _Kernel:
    """The lowered program, run by the kernel's evaluation."""

    def __init__(self, lowered: Lowered) -> None:
        self.lowered = lowered
        self.values = {v.name: v.initial for v in lowered.variables}
        variables = (*lowered.inputs, *lowered.variables)
        domains = {v.name: (v.domain.lo, v.domain.hi) for v in variables}
        self.intervals = bounds(list(lowered.updates.values()), domains)

    def scan(self, inputs: dict[str, int]) -> set[str]:
        env = {**self.values, **{f"input.{name}": value for name, value in inputs.items()}}
        flaws = {f"{f.place}: {f.says}" for f in self.lowered.flaws if evaluate(f.when, env)}
        assert evaluate(self.lowered.defects, env) == bool(flaws)
        for name, update in self.lowered.updates.items():
            lo, hi = self.intervals[update]
            self.values[name] = evaluate(update, env)
            assert lo <= self.values[name] <= hi
        return flaws

    def restart(self) -> None:
        self.values |= {n: evaluate(e, {}) for n, e in self.lowered.restart.items()}

    def due(self) -> list[Move]:
        return [m for m in self.lowered.timer_moves if evaluate(m.guard, self.values)]

    def elapse(self, move: Move) -> None:
        self.values |= {n: evaluate(e, self.values) for n, e in move.updates.items()}


def _compare(text: str, sequence: list[Act], chosen: Settings) -> None:
    program = _load(text)
    lowered = lower_program(program, chosen)
    kernel, controller = _Kernel(lowered), Controller(program, chosen)
    for act in sequence:
        due = kernel.due()
        assert [m.name.removesuffix(" elapses") for m in due] == controller.running_timers()
        if act.elapses is not None and act.elapses < len(due):
            kernel.elapse(due[act.elapses])
            controller.elapse(due[act.elapses].name.removesuffix(" elapses"))
        if act.restarts:
            kernel.restart()
            controller.restart()
        flaws = kernel.scan(act.inputs)
        result = controller.scan(act.inputs)
        assert kernel.values == controller.values()
        assert flaws == {str(defect) for defect in result.defects}


@pytest.mark.parametrize("edges", [1, 2])
@_relaxed
@given(programs(counted=False), acts())
def test_free_timers_agree_in_every_scan(edges: int, text: str, sequence: list[Act]) -> None:
    _compare(text, sequence, Settings(Timers.FREE, edges=edges))


@pytest.mark.parametrize("edges", [1, 2])
@_relaxed
@given(programs(counted=True), acts(), st.sampled_from([50, 100, 120]))
def test_counted_timers_agree_in_every_scan(
    edges: int, text: str, sequence: list[Act], scan_ms: int
) -> None:
    _compare(text, sequence, Settings(Timers.COUNTED, scan_ms, edges))


@_relaxed
@given(programs(counted=True))
def test_a_lowered_program_is_a_system_whose_updates_stay_in_their_domains(text: str) -> None:
    lowered = lower_program(_load(text), Settings(Timers.COUNTED))
    scan = Move("scan", MoveKind.SCAN, TRUE, lowered.updates)
    System(lowered.inputs + lowered.variables, (scan,))


@_relaxed
@given(programs(counted=True))
def test_a_program_written_out_reads_back_as_the_same_program(text: str) -> None:
    tree = parse_program(text, "random.st")
    again = parse_program(write_program(tree), "again.st")
    assert again == tree
    try:
        assert check_program(again) == check_program(tree)
    except InputError:
        reject()


def compare_scalars(seed: int, counted: bool, with_reals: bool) -> bool:
    """Whether a random program of scalars was accepted; both readings of it must agree."""
    overflow = "saturate" if seed % 3 == 0 else "wrap"
    timers = Timers.COUNTED if counted else Timers.FREE
    chosen = Settings(timers, (50, 100, 120)[seed % 3], 2 - seed % 2, overflow)
    random = Random(seed)
    try:
        program = check_program(Scalars(seed, counted, with_reals).program())
        lowered = lower_program(program, chosen)
    except InputError:
        return False
    kernel, controller = _Kernel(lowered), Controller(program, chosen)
    for _ in range(12):
        due = kernel.due()
        assert [m.name.removesuffix(" elapses") for m in due] == controller.running_timers()
        if due and random.randrange(2):
            move = random.choice(due)
            kernel.elapse(move)
            controller.elapse(move.name.removesuffix(" elapses"))
        if random.randrange(16) == 0:
            kernel.restart()
            controller.restart()
        inputs = input_values(random)
        flaws = kernel.scan(inputs)
        result = controller.scan(inputs)
        assert kernel.values == controller.values()
        assert flaws == {str(defect) for defect in result.defects}
        domains = {v.name: v.domain for v in lowered.variables}
        assert all(domains[n].lo <= v <= domains[n].hi for n, v in kernel.values.items())
    return True


# Many more: python -m tests.bench.scalars
@pytest.mark.parametrize("with_reals", [False, True])
@pytest.mark.parametrize("counted", [False, True])
@settings(_relaxed, max_examples=12)
@given(st.integers(0, 1 << 30))
def test_scalars_of_every_type_agree(counted: bool, with_reals: bool, seed: int) -> None:
    if not compare_scalars(seed, counted, with_reals):
        reject()


_ONE_BLOCK = """PROGRAM one
VAR_INPUT b0, b1 : BOOL; END_VAR
VAR block : {type}; END_VAR
block({arguments});
{again}
END_PROGRAM
"""
_ARGUMENTS = {
    "SR": "S1 := b0, R := b1",
    "RS": "S := b0, R1 := b1",
    "R_TRIG": "CLK := b0",
    "F_TRIG": "CLK := b0",
    "CTU": "CU := b0, R := b1, PV := 2",
}


def _run_every_sequence(text: str, chosen: Settings, length: int, n_choices: int) -> None:
    """Compare over every sequence of `n_choices` acts: both buttons, and whether time elapses."""
    program = load_program(text, "one.st")
    lowered = lower_program(program, chosen)
    for choices in product(range(n_choices), repeat=length):
        kernel, controller = _Kernel(lowered), Controller(program, chosen)
        for choice in choices:
            due = kernel.due()
            assert bool(due) == bool(controller.running_timers())
            if choice >= 2 and due:
                kernel.elapse(due[0])
                controller.elapse("block")
            inputs = {"b0": choice % 2, "b1": int(choice >= 2)}
            kernel.scan(inputs)
            controller.scan(inputs)
            assert kernel.values == controller.values(), choices


@pytest.mark.parametrize("edges", [1, 2])
@pytest.mark.parametrize("block", _ARGUMENTS)
def test_blocks_without_time_agree_on_every_sequence(block: str, edges: int) -> None:
    text = _ONE_BLOCK.format(type=block, arguments=_ARGUMENTS[block], again="")
    _run_every_sequence(text, Settings(edges=edges), length=4, n_choices=4)


@pytest.mark.parametrize("preset", ["T#0s", "T#100ms", "T#250ms"])
@pytest.mark.parametrize("block", ["TON", "TOF", "TP"])
@pytest.mark.parametrize("calls", [1, 2])
def test_timers_agree_on_every_sequence(block: str, preset: str, calls: int) -> None:
    again = f"block(IN := NOT b0, PT := {preset});" if calls == 2 else ""
    arguments = f"IN := b0, PT := {preset}"
    text = _ONE_BLOCK.format(type=block, arguments=arguments, again=again)
    _run_every_sequence(text, Settings(Timers.COUNTED), length=7, n_choices=2)
    _run_every_sequence(text, Settings(Timers.FREE), length=4, n_choices=4)


@pytest.mark.parametrize(
    "presets",
    ["T#0s, T#250ms", "T#-100ms, T#100ms", "T#0s, T#1ms"],
)
@pytest.mark.parametrize("block", ["TON", "TOF", "TP"])
def test_timers_with_a_preset_time_that_varies_agree_on_every_sequence(
    block: str, presets: str
) -> None:
    def text(again: str) -> str:
        arguments = f"IN := b0, PT := SEL(b1, {presets})"
        one = _ONE_BLOCK.format(type=block, arguments=arguments, again=again)
        return one.replace("VAR block", "VAR_OUTPUT early, late : BOOL; END_VAR VAR block")

    shown = "early := block.ET < T#0s; late := block.ET >= T#250ms;"
    _run_every_sequence(text(shown), Settings(Timers.COUNTED), length=4, n_choices=4)
    _run_every_sequence(text(""), Settings(Timers.FREE), length=3, n_choices=4)


def test_real_variables_of_one_scan_have_every_value_that_they_are_given() -> None:
    text = """PROGRAM one
    VAR_INPUT b0, b1 : BOOL; END_VAR
    VAR_OUTPUT high, higher : BOOL; END_VAR
    VAR block : TON; END_VAR
    VAR_TEMP r, s : REAL; END_VAR
    r := 1.5;
    IF b0 THEN r := 2.5; END_IF;
    s := r * 2.0;
    IF b1 THEN s := s + r; END_IF;
    high := r > 2.0;
    higher := s > 7.0;
    END_PROGRAM
    """
    _run_every_sequence(text, Settings(), length=1, n_choices=4)


_OF_TWO = """PROGRAM one
VAR_INPUT a : INT(-3..3); b : INT(-3..4); END_VAR
VAR_OUTPUT q : INT; END_VAR
VAR far : DINT; END_VAR
{body}
END_PROGRAM
"""


def _power(a: int, b: int) -> int | None:
    """What ``a ** b`` is where that is a whole number cut towards zero."""
    if b >= 0:
        return int(a**b)
    return None if a == 0 else int(1 / a**-b)


def _wrapped(a: int, b: int) -> int:
    far = a * 65536 - 32769 + b
    return (far + 32768) % 65536 - 32768


@pytest.mark.parametrize(
    ("body", "exact"),
    [
        ("q := a ** b;", _power),
        (
            "far := INT_TO_DINT(a) * 65536 - 32769 + INT_TO_DINT(b); q := DINT_TO_INT(far);",
            _wrapped,
        ),
    ],
)
def test_numbers_come_out_as_whole_numbers_do_in_python(
    body: str, exact: Callable[[int, int], int | None]
) -> None:
    program = load_program(_OF_TWO.format(body=body), "one.st")
    lowered = lower_program(program, Settings())
    for a, b in product(range(-3, 4), range(-3, 5)):
        kernel, controller = _Kernel(lowered), Controller(program, Settings())
        flaws = kernel.scan({"a": a, "b": b})
        assert flaws == {str(d) for d in controller.scan({"a": a, "b": b}).defects}
        assert kernel.values == controller.values()
        if exact(a, b) is not None:
            assert kernel.values["q"] == exact(a, b)
        else:
            assert flaws
