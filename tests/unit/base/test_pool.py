"""Work spread over processes."""

from __future__ import annotations

import os
from concurrent.futures.process import BrokenProcessPool

import pytest

from interlock.base.pool import spread


def process_of(item: int) -> tuple[int, int]:
    return item, os.getpid()


def die_at_two(item: int) -> int:
    if item == 2:
        os._exit(9)
    return item


def test_quick_work_stays_in_this_process_and_in_order() -> None:
    found = list(spread(process_of, [5, 6, 7], 4, worth_seconds=60.0))
    assert found == [(place, (item, os.getpid())) for place, item in enumerate([5, 6, 7])]


def test_slow_work_is_spread_and_each_item_done_once() -> None:
    found = list(spread(process_of, list(range(10, 20)), 2, worth_seconds=-1.0))
    assert sorted((place, item) for place, (item, _) in found) == list(enumerate(range(10, 20)))
    elsewhere = {process for place, (_, process) in found if place > 0}
    assert os.getpid() not in elsewhere
    assert found[0] == (0, (10, os.getpid()))


def test_one_process_means_this_one() -> None:
    found = list(spread(process_of, [1, 2, 3], 1, worth_seconds=-1.0))
    assert {process for _, (_, process) in found} == {os.getpid()}


def test_a_process_that_is_killed_is_told_of() -> None:
    with pytest.raises(BrokenProcessPool):
        list(spread(die_at_two, [0, 1, 2, 3], 2, worth_seconds=-1.0))


def test_nothing_to_do_is_done() -> None:
    assert list(spread(process_of, [], 4)) == []
