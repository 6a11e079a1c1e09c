"""How far a value can go: doubling steps, bisection, what is told where there are more edges."""

from __future__ import annotations

from collections.abc import Collection

import pytest

from interlock.commands.margins.search import ALL_TRIED, Side, look


def looked(others: Collection[int], n_most: int, undecided: Collection[int] = ()) -> Side[str]:
    def at(n: int) -> str | None:
        return None if n in undecided else "other" if n in others else "same"

    return look("same", at, n_most)


@pytest.mark.parametrize("edge", [*range(1, 40), 99, 100])
def test_the_one_edge_there_is_is_found_to_the_step(edge: int) -> None:
    side = looked(range(edge, 101), 100)
    assert (side.n_same, side.n_other, side.found) == (edge - 1, edge, "other")
    assert side.is_decided
    assert not side.has_more_edges
    # Neighbours on both sides were tried, and few others.
    assert {edge - 2, edge - 1, edge, edge + 1} & set(range(101)) <= set(side.tried)
    assert len(side.tried) < 20


def test_without_an_edge_it_says_so_and_that_not_each_was_tried() -> None:
    side = looked((), 100)
    assert (side.n_same, side.n_other, side.is_decided, side.is_each_tried) == (
        100, None, True, False
    )  # fmt: skip
    assert looked((), 0) == Side(0, is_each_tried=True, tried=(0,))


def test_few_values_are_all_tried() -> None:
    side = looked({5}, ALL_TRIED)
    assert (side.n_same, side.n_other, side.is_each_tried) == (4, 5, True)
    assert side.has_more_edges
    assert side.tried == tuple(range(ALL_TRIED + 1))


def test_where_the_neighbours_of_an_edge_tell_otherwise_every_value_is_tried() -> None:
    # At 32 it is another, at 16 not; between them 30 is another as well, but not 31.
    side = looked({30, *range(32, 101)}, 100)
    assert (side.n_same, side.n_other) == (29, 30)
    assert side.is_each_tried
    assert side.has_more_edges
    # Just behind the edge it is the same again.
    side = looked({31, 40}, 100)
    assert not side.is_each_tried
    side = looked({16}, 100)
    assert (side.n_same, side.n_other, side.is_each_tried) == (15, 16, True)


def test_an_edge_between_values_that_were_not_tried_is_not_denied() -> None:
    # 13 lies between 8 and 16: nothing tells of it, and so it is told that not each was tried.
    side = looked({13}, 100)
    assert side.n_other is None
    assert not side.is_each_tried
    assert 13 not in side.tried


def test_what_is_not_decided_is_no_edge() -> None:
    side = looked((), 100, undecided=range(20, 101))
    assert (side.n_same, side.n_other, side.is_decided) == (16, None, False)
    # The edge lies behind 16 and not behind 32, and where is not known.
    side = looked(range(24, 101), 100, undecided=[20])
    assert (side.n_same, side.n_other, side.is_decided) == (16, 24, False)
