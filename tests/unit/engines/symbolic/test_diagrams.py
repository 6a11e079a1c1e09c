"""A set that is simplified where only some states matter stays the same in those."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.engines.symbolic.diagrams import Diagrams

N_BITS = 4
POINTS = [dict(enumerate(point)) for point in product((0, 1), repeat=N_BITS)]
BYTES = 1 << 24


@settings(deadline=None, max_examples=200)
@given(st.integers(0, 2**16 - 1), st.integers(1, 2**16 - 1))
def test_a_simplified_set_is_the_same_where_it_matters(held: int, mattering: int) -> None:
    dd = Diagrams(N_BITS, BYTES)
    here = dd.disjunction(dd.cube(p) for n, p in enumerate(POINTS) if held >> n & 1)
    care = dd.disjunction(dd.cube(p) for n, p in enumerate(POINTS) if mattering >> n & 1)
    assert dd.simplified(here, care) & care == here & care


@pytest.mark.parametrize("is_set", [True, False])
def test_what_is_decided_where_it_matters_is_not_asked_any_more(is_set: bool) -> None:
    # From the definition of *restrict*: of "if a then b else c" either branch alone is left.
    dd = Diagrams(3, BYTES)
    a, b, c = dd.bits
    choice = a.ite(b, c)
    assert dd.simplified(choice, a if is_set else ~a) == (b if is_set else c)
    # ... also where what decides comes later than what is read.
    assert dd.simplified(c.ite(a, b), c if is_set else ~c) == (a if is_set else b)
