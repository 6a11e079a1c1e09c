"""Certificates against the reference engine, and against a solver, on random systems."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from interlock.engines.reference import ReferenceEngine
from interlock.engines.symbolic.certify import certify
from interlock.kernel.certificate import ALL, Certificate
from interlock.kernel.evaluate import State
from interlock.kernel.query import Count, Query, Reach, Stay, Trap, Values
from interlock.kernel.system import System
from interlock.recheck.obligations import Outline, Script, script
from interlock.recheck.sets import read_sets, write_sets
from interlock.recheck.solve import Result, discharge
from tests.support.smtlib import Checker
from tests.support.strategies import questions, random_system
from tests.support.turns import taking_turns

SETTINGS = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def certificate_of(
    system: System, queries: list[Query]
) -> tuple[Certificate, list[Query], dict[Trap, State]]:
    """The certificate of what the reference engine does not find, and of the traps it does.

    With all that it is of, and the end of the run into each trap.
    """
    asked = [q for q in queries if not isinstance(q, Count | Values)]
    answers = ReferenceEngine().explore(system, asked).answers
    kept: list[Query] = []
    ends: dict[Trap, State] = {}
    for query, answer in zip(asked, answers, strict=True):
        if not answer.found:
            kept.append(query)
            continue
        if isinstance(query, Trap):
            assert answer.witness is not None
            ends[query] = answer.witness.last
        with pytest.raises(ValueError, match="found"):
            certify(system, [query])
    certificate = certify(system, kept, ends)
    assert isinstance(certificate, Certificate)
    assert not certificate.missing
    return certificate, [*kept, *ends], ends


def script_of(
    system: System, certificate: Certificate, queries: list[Query], ends: dict[Trap, State]
) -> Script:
    names = {f"Q.{n}": query for n, query in enumerate(queries)}
    outline = Outline(
        {n: q for n, q in names.items() if isinstance(q, Reach)},
        {n: (q, certificate.stays[q]) for n, q in names.items() if isinstance(q, Stay)},
        {n: (q, certificate.traps[q]) for n, q in names.items() if q in certificate.traps},
        {n: (q, certificate.dead_ends[q], ends[q]) for n, q in names.items() if q in ends},
    )
    sets = "\n".join(write_sets(system, certificate.sets))
    functions = read_sets(sets, system, len(certificate.sets.roots))
    return script(system, outline, sets, functions)


def results(of: Script) -> dict[str, Result]:
    return {done.obligation.name: done.result for done in discharge(of)}


@given(data=st.data())
@SETTINGS
def test_what_is_not_found_has_a_certificate_that_a_solver_accepts(data: st.DataObject) -> None:
    system = data.draw(random_system() | taking_turns(1))
    certificate, queries, ends = certificate_of(system, data.draw(questions(system)))
    of = script_of(system, certificate, queries, ends)
    Checker().run(of.text)
    assert set(results(of).values()) == {Result.DISCHARGED}


@given(data=st.data())
@SETTINGS
def test_an_invariant_without_one_reachable_state_is_refuted(data: st.DataObject) -> None:
    system = data.draw(random_system())
    certificate, *_ = certificate_of(system, [])
    where = certificate.sets.roots[0]
    assume(abs(where) != 1)
    # The set without the states in which one bit, as it is initially, has that value.
    first = system.variables[[v.name for v in system.variables].index(_top(certificate))]
    node = certificate.sets.nodes[abs(where) - 2]
    initial = (first.initial - first.domain.lo) >> node.bit & 1
    none = ALL if where < 0 else -ALL
    cut = node._replace(high=none) if initial else node._replace(low=none)
    nodes = (*certificate.sets.nodes, cut)
    root = len(nodes) + 1 if where > 0 else -(len(nodes) + 1)
    weak = replace(certificate, sets=replace(certificate.sets, nodes=nodes, roots=(root,)))
    found = results(script_of(system, weak, [], {}))
    assert found["the invariant holds initially"] is Result.REFUTED


def _top(certificate: Certificate) -> str:
    return certificate.sets.nodes[abs(certificate.sets.roots[0]) - 2].variable
