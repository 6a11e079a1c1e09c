"""Ctrl-C as a limit: what is decided is told, and a second one ends at once."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest

from interlock.base.interrupt import given_up_when, is_stopping, stopping_softly
from interlock.base.pool import spread
from interlock.engines import catalogue
from interlock.engines.budget import Budget
from interlock.kernel.query import Limits, Progress, Reach
from tests.support.build import is_
from tests.support.puzzles import sliding_tiles


def press() -> None:
    os.kill(os.getpid(), signal.SIGINT)


@pytest.fixture
def told() -> Iterator[list[str]]:
    said: list[str] = []
    with stopping_softly(lambda: said.append("stopping")):
        yield said


def test_the_first_press_is_a_limit_and_the_second_ends_at_once(told: list[str]) -> None:
    budget = Budget(Limits(), None)
    assert not budget.out_of_time()
    press()
    assert budget.out_of_time()
    assert (budget.limit, told) == ("Ctrl-C", ["stopping"])
    with pytest.raises(KeyboardInterrupt):
        press()


def test_afterwards_it_is_as_before() -> None:
    before = signal.getsignal(signal.SIGINT)
    with stopping_softly(lambda: None):
        press()
        assert is_stopping()
    assert not is_stopping()
    assert signal.getsignal(signal.SIGINT) is before


@pytest.mark.parametrize("engine", ["reference", "enumerate", "symbolic"])
def test_an_exploration_stops_and_does_not_hold(told: list[str], engine: str) -> None:
    def stop(now: Progress) -> None:
        if not told:
            press()

    asked = [Reach(is_("cell0", 9))]
    found = catalogue()[engine]().explore(sliding_tiles(3, 3), asked, Limits(), stop)
    assert found.limit == "Ctrl-C"
    assert [answer.found for answer in found.answers] == [None]


@pytest.mark.parametrize("engine", ["reference", "enumerate", "symbolic"])
def test_work_that_nobody_wants_any_more_is_given_up(engine: str) -> None:
    asked = [Reach(is_("cell0", 9))]
    with given_up_when(lambda: True):
        found = catalogue()[engine]().explore(sliding_tiles(3, 3), asked)
    assert found.limit is not None
    assert [answer.found for answer in found.answers] == [None]
    assert not is_stopping()


def waiting(folder: Path, item: int) -> bool:
    """Done at once by the first; the others wait until they are asked to stop."""
    if item:
        (folder / str(item)).touch()
        while not is_stopping():
            pass
    return is_stopping()


def test_the_processes_of_a_pool_stop_too(told: list[str], tmp_path: Path) -> None:
    work = spread(partial(waiting, tmp_path), [0, 1, 2], 2, worth_seconds=-1)
    assert next(work) == (0, False)
    press()
    assert sorted(work) == [(1, True), (2, True)]
