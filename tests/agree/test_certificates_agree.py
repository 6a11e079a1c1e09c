"""Certificates against the reference engine, and against a solver, on random systems."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from interlock.commands.recheck.solve import Result, discharge
from interlock.engines.reference import ReferenceEngine
from interlock.engines.symbolic import certify as certify_module
from interlock.engines.symbolic.certify import certify
from interlock.evidence.obligations import script
from interlock.evidence.script import Outline, Script
from interlock.evidence.sets import read_sets, write_sets
from interlock.kernel.certificate import ALL, NONE, Certificate, StateSets
from interlock.kernel.evaluate import State
from interlock.kernel.expr import const, eq, var
from interlock.kernel.query import Count, Query, Reach, Stay, Trap, Values
from interlock.kernel.system import PHASE, System
from tests.support.smtlib import Checker
from tests.support.strategies import questions, random_system
from tests.support.turns import taking_turns

SETTINGS = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])


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
        certificate.invariant,
        {n: q for n, q in names.items() if isinstance(q, Reach)},
        {n: (q, certificate.stays[q]) for n, q in names.items() if isinstance(q, Stay)},
        {n: (q, certificate.traps[q]) for n, q in names.items() if q in certificate.traps},
        {n: (q, certificate.dead_ends[q], ends[q]) for n, q in names.items() if q in ends},
    )
    sets = "\n".join(write_sets(system, certificate.sets))
    functions = read_sets(sets, system, len(certificate.sets.roots))
    return script(system, outline, sets, functions)


def scanned_states(system: System) -> tuple[State, ...]:
    """All reachable states in which no scan is due, by the reference engine."""
    names = [variable.name for variable in system.variables]
    asked = Values(tuple(map(var, names)), eq(var(PHASE), const(0)))
    return ReferenceEngine().explore(system, [asked]).answers[0].values


def is_in(sets: StateSets, edge: int, system: System, state: State) -> bool:
    """Whether a state is in the set of an edge."""
    if abs(edge) != ALL:
        node = sets.nodes[abs(edge) - 2]
        place = system.index[node.variable]
        value = state[place] - system.variables[place].domain.lo
        found = is_in(sets, node.high if value >> node.bit & 1 else node.low, system, state)
    else:
        found = True
    return found is (edge > 0)


def results(of: Script) -> dict[str, Result]:
    return {done.obligation.name: done.result for done in discharge(of)}


@given(data=st.data())
@SETTINGS
def test_what_is_not_found_has_a_certificate_that_a_solver_accepts(data: st.DataObject) -> None:
    system = data.draw(random_system() | taking_turns(1))
    certificate, queries, ends = certificate_of(
        system, data.draw(questions(system, with_legs=False))
    )
    of = script_of(system, certificate, queries, ends)
    Checker().run(of.text)
    assert set(results(of).values()) == {Result.DISCHARGED}


@given(data=st.data())
@SETTINGS
def test_an_invariant_in_cases_is_accepted_as_well(data: st.DataObject) -> None:
    system = data.draw(taking_turns(1) | taking_turns(2))
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(certify_module, "WORTH_SPLITTING", 0)
        certificate, queries, ends = certificate_of(
            system, data.draw(questions(system, with_legs=False))
        )
    if certificate.invariant.is_scanned:
        assert system.variable(PHASE).domain.hi == 1
    assert {"f0", "f1", "f2"} == set(certificate.invariant.split)
    of = script_of(system, certificate, queries, ends)
    Checker().run(of.text)
    assert set(results(of).values()) == {Result.DISCHARGED}


@given(data=st.data())
@SETTINGS
def test_an_invariant_without_one_of_its_cases_is_refuted(data: st.DataObject) -> None:
    system = data.draw(taking_turns(1) | taking_turns(2))
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(certify_module, "WORTH_SPLITTING", 0)
        certificate, *_ = certificate_of(system, [])
    cases = certificate.invariant.cases
    dropped = data.draw(st.sampled_from(cases))
    kept = tuple(case for case in cases if case is not dropped)
    weak = replace(certificate, invariant=replace(certificate.invariant, cases=kept))
    assert Result.REFUTED in results(script_of(system, weak, [], {})).values()


@given(data=st.data())
@SETTINGS
def test_an_invariant_of_scanned_states_without_some_of_them_is_refuted(
    data: st.DataObject,
) -> None:
    system = data.draw(taking_turns(1))
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(certify_module, "WORTH_SPLITTING", data.draw(st.sampled_from([0, 9999])))
        certificate, *_ = certificate_of(system, [])
    assume(certificate.invariant.is_scanned)
    number = data.draw(st.sampled_from(certificate.invariant.cases)).within
    where = certificate.sets.roots[number]
    assume(abs(where) != ALL)
    node = certificate.sets.nodes[abs(where) - 2]
    none = ALL if where < 0 else NONE
    cut = node._replace(low=none) if node.high == none else node._replace(high=none)
    nodes = (*certificate.sets.nodes, cut)
    roots = list(certificate.sets.roots)
    roots[number] = (len(nodes) + 1) * (1 if where > 0 else -1)
    weak = replace(certificate, sets=replace(certificate.sets, nodes=nodes, roots=tuple(roots)))
    # The initial state is asked for by itself: without it alone this is an invariant still.
    lost = [
        state
        for state in scanned_states(system)
        if state != system.initial
        and is_in(certificate.sets, where, system, state)
        and not is_in(weak.sets, roots[number], system, state)
    ]
    assume(lost)
    found = results(script_of(system, weak, [], {}))
    refuted = [name for name, result in found.items() if result is Result.REFUTED]
    assert refuted
    assert all("the invariant is kept by" in name for name in refuted)


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
    assert found["initially: the invariant holds"] is Result.REFUTED


def _top(certificate: Certificate) -> str:
    return certificate.sets.nodes[abs(certificate.sets.roots[0]) - 2].variable
