"""What a user notices of threads: nothing but the time, and what stops one stops all."""

from __future__ import annotations

import json
import os
import signal
import threading
from pathlib import Path

import pytest

from interlock.base import cores, pool
from interlock.base.interrupt import stopping_softly
from interlock.cli.main import run
from interlock.engines.enumerate import EnumeratingEngine, space
from interlock.kernel.query import Limits, Progress
from tests.bench.models import interlock
from tests.support.threads import threads_everywhere

RAMP = str(Path(__file__).parents[3] / "models" / "ramp")


def _json_of(capsys: pytest.CaptureFixture[str], *options: str) -> tuple[int, str]:
    code = run(["verify", RAMP, "--engine", "enumerate", "--json", "-", *options])
    return code, capsys.readouterr().out


@pytest.mark.parametrize("more", [(), ("--max-states", "200")])
def test_one_thread_and_three_write_the_same_bytes(
    more: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    with threads_everywhere(1):
        alone = _json_of(capsys, "-j", "1", *more)
        assert _json_of(capsys, "--jobs", "3", *more) == alone
    assert "threads_started" not in json.loads(alone[1])


def test_a_machine_without_threads_explores_all_the_same_and_says_so_in_json(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_thread: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    with threads_everywhere(1):
        code, alone = _json_of(capsys, "-j", "1")
        monkeypatch.setattr(threading.Thread, "start", refuse)
        assert run(["verify", RAMP, "--engine", "enumerate", "--json", "-", "-j", "4"]) == code
    told = capsys.readouterr()
    data = json.loads(told.out)
    assert data.pop("threads_started") == 1
    assert data == json.loads(alone)
    assert told.err == ""


def test_the_time_limit_stops_all_threads() -> None:
    with threads_everywhere(3):
        found = EnumeratingEngine().explore(interlock(4, 3), [], Limits(max_seconds=0.05))
    assert found.limit == "seconds 0.05"
    assert not _busy()


def test_ctrl_c_stops_all_threads() -> None:
    def press(now: Progress) -> None:
        if now.n_states > 1000 and not pressed:
            pressed.append(now.n_states)
            assert _busy()
            os.kill(os.getpid(), signal.SIGINT)

    pressed: list[int] = []
    with threads_everywhere(3), stopping_softly(lambda: None):
        found = EnumeratingEngine().explore(interlock(4, 3), [], progress=press)
    assert found.limit == "Ctrl-C"
    assert not _busy()


def _busy() -> bool:
    """Whether threads of a team are left, a moment after they were to end."""
    for _ in range(100):
        if not (left := [t for t in threading.enumerate() if t.name.startswith("interlock team")]):
            return False
        left[0].join(0.01)
    return True


def _cores_there(_item: int) -> int:
    return cores.in_use()


def test_processes_of_a_pool_explore_with_one_thread_each() -> None:
    cores.use(4)
    found = dict(pool.spread(_cores_there, [1, 2, 3], 2, worth_seconds=-1.0))
    cores.use(None)
    assert found == {0: 4, 1: 1, 2: 1}


def test_a_few_states_start_no_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_thread: threading.Thread) -> None:
        raise AssertionError("a thread was started")

    monkeypatch.setattr(threading.Thread, "start", refuse)
    cores.use(4)
    found = EnumeratingEngine().explore(interlock(1), [])
    cores.use(None)
    assert found.n_states < space.SIZES.few_parents
    assert found.n_threads is None
