"""Expressions as SMT-LIB mean what the kernel's evaluation says."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.commands.recheck.solve import Result, discharge
from interlock.evidence.script import Group, Obligation, Script
from interlock.evidence.translate import Translator, symbol, value_term
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import evaluate
from interlock.kernel.system import Domain, System, Variable
from tests.support.smtlib import Checker
from tests.support.strategies import numbers, truths

SETTINGS = settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
DOMAINS = {"a": (0, 1), "b": (0, 1), "n": (-3, 4), "m": (0, 5), "one": (3, 3), "k": (-9, -2)}


def system(values: dict[str, int]) -> System:
    return System(
        tuple(Variable(name, Domain(*DOMAINS[name]), value) for name, value in values.items()), ()
    )


def differs(of: System, translator: Translator, term: str, wanted: str) -> list[Result]:
    """Whether the initial values of `of` can make `term` anything else than `wanted`."""
    values = [
        f"(= {symbol(v.name)} {value_term(v.domain, v.initial)})"
        for v in of.variables
        if v.domain.size > 1
    ]
    lines = ["(set-logic QF_BV)", *translator.declarations(), *translator.lines, ""]
    asked = [f"(and {' '.join(values)} (not (= {term} {wanted})))", f"(and {' '.join(values)})"]
    obligations = tuple(Obligation(f"o{n}", t) for n, t in enumerate(asked))
    script = Script("\n".join(lines), "", (Group("all", "true", obligations),))
    Checker().run(script.text)
    return [done.result for done in discharge(script)]


@st.composite
def values(draw: st.DrawFn) -> dict[str, int]:
    return {name: draw(st.integers(*interval)) for name, interval in DOMAINS.items()}


@given(given_values=values(), truth=truths(DOMAINS, 3))
@SETTINGS
def test_truth_values_are_those_of_the_kernel(given_values: dict[str, int], truth: ex.Expr) -> None:
    of = system(given_values)
    translator = Translator(of)
    wanted = "true" if evaluate(truth, given_values) else "false"
    term = translator.truth(truth)
    assert differs(of, translator, term, wanted) == [Result.DISCHARGED, Result.REFUTED]


@given(given_values=values(), number=numbers(DOMAINS, 3), target=st.sampled_from(sorted(DOMAINS)))
@SETTINGS
def test_new_values_are_those_of_the_kernel(
    given_values: dict[str, int], number: ex.Expr, target: str
) -> None:
    domain = Domain(*DOMAINS[target])
    if domain.size == 1:
        return
    of = system(given_values)
    translator = Translator(of)
    new = ex.clamp(number, domain.lo, domain.hi)
    wanted = value_term(domain, evaluate(new, given_values))
    term = translator.code(new, domain)
    assert differs(of, translator, term, wanted) == [Result.DISCHARGED, Result.REFUTED]


def test_a_variable_of_another_range_is_taken_by_its_value_not_by_its_bits() -> None:
    # Both ranges fill three bits: what is 2 is written 101 in -3..4, and 010 in 0..7.
    of = system({name: lo for name, (lo, _) in DOMAINS.items()} | {"n": 2})
    translator = Translator(of)
    term = translator.code(ex.var("n"), Domain(0, 7))
    assert differs(of, translator, term, "#b010") == [Result.DISCHARGED, Result.REFUTED]


@pytest.mark.parametrize("dividend", range(-3, 5))
@pytest.mark.parametrize("divisor", [-2, 0, 3])
def test_division_truncates_towards_zero_and_remainders_follow_the_dividend(
    dividend: int, divisor: int
) -> None:
    # IEC 61131-3 (2013), 6.6.2.5.6: integer division truncates; by zero it is 0 in the kernel.
    given_values = {name: lo for name, (lo, _) in DOMAINS.items()} | {"n": dividend}
    of = system(given_values)
    for operation, known in ((ex.div, ex.quotient), (ex.mod, ex.remainder)):
        translator = Translator(of)
        domain = Domain(-3, 4)
        by = ex.add(ex.var("one"), ex.const(divisor - 3))
        term = translator.code(ex.clamp(operation(ex.var("n"), by), -3, 4), domain)
        wanted = value_term(domain, known(dividend, divisor))
        assert differs(of, translator, term, wanted)[0] is Result.DISCHARGED


def test_a_name_cannot_end_its_symbol_early() -> None:
    assert symbol("a|) (assert false") == "|v.a~7c~~29~~20~~28~assert~20~false|"
