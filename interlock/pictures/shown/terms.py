"""A condition from the rows of a table: where it holds, and where it does not."""

from __future__ import annotations

from collections.abc import Collection
from itertools import combinations

Row = tuple[int, ...]
Term = tuple[tuple[int, int], ...]
"""Columns with the value that each must have, in the order of the columns."""


def terms_of(on: Collection[Row], off: Collection[Row]) -> list[Term] | None:
    """Terms of which one at least holds in each row of `on`, and none in any row of `off`.

    Terms with fewest columns come first. A term whose rows others hold in as well is left out;
    there may be a shorter list all the same.

    Parameters
    ----------
    on, off : collection of tuple of int
        Rows of one length; `on` has at least one.

    Returns
    -------
    list of Term or None
        None where a row is in both, so that no condition on the columns tells them apart.

    Examples
    --------
    >>> terms_of([(1, 0), (1, 1)], [(0, 0)])
    [((0, 1),)]
    >>> terms_of([(0, 0), (0, 1), (1, 0)], [(1, 1)])
    [((0, 0),), ((1, 0),)]
    """
    left = set(on)
    n_columns = len(next(iter(left)))
    found: list[Term] = []
    for size in range(n_columns + 1):
        for columns in combinations(range(n_columns), size):
            taken = {_cut(row, columns) for row in off}
            for values in sorted({_cut(row, columns) for row in left} - taken):
                found.append(tuple(zip(columns, values, strict=True)))
                left = {row for row in left if _cut(row, columns) != values}
            if not left:
                return _without_spare(found, on)
    return None


def fixed(rows: Collection[Row]) -> set[tuple[int, int]]:
    """The columns that have one value in all rows, with it."""
    return {
        (n, next(iter(v))) for n, v in enumerate(map(set, zip(*rows, strict=True))) if len(v) == 1
    }


def _cut(row: Row, columns: tuple[int, ...]) -> Row:
    return tuple(row[column] for column in columns)


def _without_spare(terms: list[Term], on: Collection[Row]) -> list[Term]:
    kept = list(terms)
    for term in reversed(terms):
        others = [other for other in kept if other != term]
        if all(any(_holds(other, row) for other in others) for row in on):
            kept = others
    return kept


def _holds(term: Term, row: Row) -> bool:
    return all(row[column] == value for column, value in term)
