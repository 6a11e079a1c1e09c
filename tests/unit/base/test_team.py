"""Threads that work together."""

from __future__ import annotations

import threading
import time

import pytest

from interlock.base import cores
from interlock.base.team import Team


def test_every_member_works_once_and_the_caller_is_one_of_them() -> None:
    team = Team(3)
    found: dict[int, int] = {}
    team.all_do(lambda member: found.__setitem__(member, threading.get_ident()))
    team.close()
    assert sorted(found) == [0, 1, 2]
    assert found[0] == threading.get_ident()
    assert len(set(found.values())) == 3


def test_an_error_is_told_only_when_everybody_has_ended() -> None:
    team, ended = Team(3), []

    def work(member: int) -> None:
        if member != 1:
            raise KeyboardInterrupt if member == 0 else ValueError
        time.sleep(0.05)
        ended.append(member)

    with pytest.raises(KeyboardInterrupt):
        team.all_do(work)
    assert ended == [1]
    team.all_do(ended.append)
    team.close()
    assert sorted(ended) == [0, 1, 1, 2]


def test_a_machine_that_starts_no_more_threads_has_a_smaller_team(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    start, started = threading.Thread.start, []

    def may_start(thread: threading.Thread) -> None:
        if started:
            raise RuntimeError("can't start new thread")
        started.append(thread)
        start(thread)

    monkeypatch.setattr(threading.Thread, "start", may_start)
    team = Team(4)
    found: list[int] = []
    team.all_do(found.append)
    team.close()
    assert (team.size, sorted(found)) == (2, [0, 1])


def test_one_thread_explores_unless_somebody_says_how_many() -> None:
    cores.use(3)
    assert cores.in_use() == 3
    cores.use(None)
    assert cores.in_use() == 1 <= cores.available()
