from hypothesis import given
from hypothesis import strategies as st

from interlock.pictures.shown.terms import Row, Term, fixed, terms_of

ROWS = st.sets(st.tuples(*[st.integers(0, 1)] * 5), max_size=32)


def holds(term: Term, row: Row) -> bool:
    return all(row[column] == value for column, value in term)


@given(ROWS.filter(bool), ROWS)
def test_terms_hold_in_all_rows_of_the_one_and_in_none_of_the_other(
    on: set[Row], off: set[Row]
) -> None:
    terms = terms_of(on, off)
    if terms is None:
        assert on & off
        return
    assert all(any(holds(term, row) for term in terms) for row in on)
    assert not any(holds(term, row) for term in terms for row in off)
    for term in terms:
        others = [other for other in terms if other != term]
        assert not all(any(holds(other, row) for other in others) for row in on)


@given(ROWS.filter(bool), st.data())
def test_rows_that_nothing_tells_apart_have_no_terms(on: set[Row], data: st.DataObject) -> None:
    assert terms_of(on, {data.draw(st.sampled_from(sorted(on)))}) is None


def test_an_exclusive_or_needs_both_of_its_terms() -> None:
    # Mathematics: the disjunctive normal form of XOR has two terms of two literals.
    found = terms_of([(0, 1), (1, 0)], [(0, 0), (1, 1)])
    assert found == [((0, 0), (1, 1)), ((0, 1), (1, 0))]


def test_what_every_row_has_is_fixed() -> None:
    assert fixed([(0, 1, 1), (0, 0, 1)]) == {(0, 0), (2, 1)}
