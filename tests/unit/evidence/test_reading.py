"""Sets are read with suspicion: only definitions of sets get through."""

from __future__ import annotations

import pytest

from interlock.evidence.sets import read_sets, write_sets
from interlock.evidence.sexpr import SexprError, read_all
from interlock.kernel.certificate import ALL, NONE, Decision, StateSets
from interlock.kernel.system import Domain, System, Variable
from tests.support.smtlib import Checker

SYSTEM = System((Variable("a", Domain(0, 1), 0), Variable("n", Domain(2, 6), 2)), ())
SETS = StateSets((Decision("n", 1, NONE, ALL), Decision("a", 0, -2, 2)), (3, ALL, -2))
GOOD = "\n".join(write_sets(SYSTEM, SETS))


def test_what_is_written_is_read() -> None:
    found = read_sets(GOOD, SYSTEM, 3)
    assert [f.name for f in found] == ["s0", "s1", "s2"]
    assert [f.variables for f in found] == [("a", "n"), (), ("n",)]
    assert found[0].of({"a": "true"}) == "(s0 true |v.n|)"


def test_what_is_written_is_well_formed() -> None:
    Checker().run(GOOD)


ONE = "(define-fun s0 ((|v.a| Bool)) Bool {})"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("(assert false)", "expected the definition of s0"),
        ("(check-sat)", "expected the definition of s0"),
        ("s0", "expected the definition of s0"),
        (ONE.format("true") + "\n(assert false)", "expected the definition of s1"),
        (ONE.format("true") * 2, "expected s1, of sort Bool"),
        (ONE.replace("s0", "not").format("true"), "expected s0, of sort Bool"),
        (ONE.replace("Bool {}", "Int {}").format("0"), "expected s0, of sort Bool"),
        (ONE.replace("|v.a|", "|v.b|").format("true"), "another variable of the model"),
        (
            ONE.replace("(|v.a| Bool)", "(|v.a| Bool) (|v.a| Bool)").format("true"),
            "another variable",
        ),
        (ONE.replace("(|v.a| Bool)", "(|v.a| Int)").format("true"), "expected Bool"),
        (ONE.replace("((|v.a| Bool))", "x").format("true"), "expected a list of variables"),
        (ONE.format("n0"), "a set that is already bound"),
        (ONE.format("|v.a|"), "a set that is already bound"),
        (ONE.format("(forall ((x Bool)) x)"), "a set that is already bound"),
        (ONE.format("(not (not true))"), "a set that is already bound"),
        (ONE.format("(let ((n0 (ite |v.a| true n0))) n0)"), "a set that is already bound"),
        (ONE.format("(let ((n0 (ite |v.n| true false))) n0)"), "a bit of one of the variables"),
        (ONE.format("(let ((n0 (or |v.a| |v.a|))) n0)"), "expected (ite bit set set)"),
        (ONE.format("(let ((a (ite |v.a| true false))) a)"), "a new name"),
        (
            ONE.format("(let ((n0 (ite |v.a| true false)) (n0 (ite |v.a| true false))) n0)"),
            "a new name",
        ),
        (ONE.format("(let (n0) n0)"), "a name and what it stands for"),
        ("", "1 sets are needed here, 0 are defined"),
        (ONE.format("true") + ")", "this bracket closes nothing"),
        ("(" + ONE.format("true"), "this bracket is never closed"),
        (ONE.format("true\x00"), "has no meaning"),
        (ONE.format("true ´"), "has no meaning"),
    ],
)
def test_anything_else_is_refused_with_its_place(text: str, says: str) -> None:
    with pytest.raises(SexprError) as error:
        read_sets(text, SYSTEM, 1)
    assert says in error.value.says
    assert 0 <= error.value.start <= len(text)


def test_depth_is_no_danger() -> None:
    # Far deeper than functions may call each other.
    deep = "(" * 50_000 + ")" * 50_000
    assert len(read_all(deep)) == 1
    with pytest.raises(SexprError):
        read_sets(deep, SYSTEM, 1)
    lets = "".join(f"(let ((n{n} (ite |v.a| true false))) " for n in range(10_000))
    read_sets(ONE.format(lets + "n0" + ")" * 10_000), SYSTEM, 1)
