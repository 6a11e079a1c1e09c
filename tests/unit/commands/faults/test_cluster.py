"""Faults that are struck by the workers of a Dask cluster, one of which is killed on the way."""

from __future__ import annotations

import os
import signal
import time
from dataclasses import replace
from pathlib import Path

import pytest

from interlock.base.errors import NoClusterError
from interlock.commands.faults import singles
from interlock.commands.faults.singles import Helpers, study_singles
from interlock.commands.faults.study import Options, study_faults
from interlock.engines import catalogue
from interlock.kernel.query import Limits
from interlock.model.build import build
from tests.support.gate import gate

distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
pytestmark = pytest.mark.slow


def test_a_cluster_finds_what_this_machine_does_whoever_dies(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(singles, "FAULTS_TOGETHER", 1)
    model = gate(tmp_path)
    wanted = build(model).requirements
    by_itself = study_singles(model, wanted, [], Limits(), Helpers(), lambda *_: None)
    assert by_itself.harms
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        pids = [worker.pid for worker in cluster.workers.values()]
        done: list[str] = []

        def stage(what: str, _n_states: int) -> None:
            done.append(what)
            if len(done) == 2:
                os.kill(pids[0], signal.SIGKILL)

        helpers = Helpers(scheduler=cluster.scheduler_address)
        found = study_singles(model, wanted, [], Limits().from_now(), helpers, stage)
        late = Limits(max_seconds=0.0).from_now()
        cut_short = study_singles(model, wanted, [], late, helpers, lambda *_: None)
    assert len(done) == len(model.live_faults)
    # What nobody had the time to strike is undecided: no set is complete, nothing is told of it.
    assert all(one.limit is not None for one in cut_short.explorations)
    assert all(one.limit is not None for one in cut_short.sets.values())
    assert (cut_short.effects, cut_short.harms) == ((), {})
    assert replace(found, explorations=()) == replace(by_itself, explorations=())
    assert [e.n_states for e in found.explorations] == [e.n_states for e in by_itself.explorations]


def test_limits_go_elsewhere_with_the_seconds_that_are_left() -> None:
    limits = Limits(max_seconds=60.0, max_states=5)
    assert limits.elsewhere() == limits
    left = replace(limits, until=time.monotonic() + 20).elsewhere()
    assert left.until is None
    assert left.max_states == 5
    assert left.max_seconds is not None
    assert 10 < left.max_seconds <= 20
    assert replace(limits, until=time.monotonic() - 1).elsewhere().max_seconds == 0


def test_an_address_without_a_scheduler_is_said_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("interlock.base.cluster._CONNECT_SECONDS", 1)
    options = Options(scheduler="tcp://127.0.0.1:9")
    with pytest.raises(NoClusterError, match=r"no scheduler answers at tcp://127\.0\.0\.1:9"):
        study_faults(gate(tmp_path), catalogue()["reference"](), options)
