"""A record of what a vehicle did: what it shows, and its samples one by one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from interlock.base.errors import InputError, Mistake, Place
from interlock.commands.replay.columns import Observed


@dataclass(frozen=True)
class Row:
    """One sample.

    Attributes
    ----------
    place : Place
    time_ms : float or None
    values : tuple of int or None
        One for each observed thing, None where this sample does not tell.
    """

    place: Place
    time_ms: float | None
    values: tuple[int | None, ...]


@dataclass(frozen=True)
class Record:
    """An opened record: what it shows, and its rows, once."""

    observed: tuple[Observed, ...]
    rows: Iterator[Row]


def mistake(place: Place, says: str) -> InputError:
    """One mistake in a record."""
    return InputError([Mistake(place, says)])
