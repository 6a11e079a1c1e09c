"""A challenge spread over a Dask cluster, one of whose workers is killed on the way."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from interlock.base.errors import NoClusterError
from interlock.commands.challenge.decide import DefectDecider
from interlock.commands.challenge.defects import defects_of
from interlock.commands.challenge.study import Choice, challenge
from interlock.commands.challenge.tasks import ThisProcess
from interlock.engines import catalogue
from tests.support.gate import gate
from tests.unit.commands.challenge.test_study import looks

distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
pytestmark = pytest.mark.slow


def test_a_killed_worker_loses_no_result_and_repeats_none(tmp_path: Path) -> None:
    from interlock.commands.challenge.cluster import OverCluster

    model = gate(tmp_path)
    decider = DefectDecider(model, catalogue()["reference"]())
    tasks = looks(model, len(defects_of(model)))
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        pids = [worker.pid for worker in cluster.workers.values()]
        done = []
        for answer in OverCluster(decider, cluster.scheduler_address).run(tasks):
            done.append(answer)
            if len(done) == 2:
                os.kill(pids[0], signal.SIGKILL)
    assert sorted(task.defects for task, _ in done) == sorted(task.defects for task in tasks)
    alone = {task.defects: results for task, results in ThisProcess(decider).run(tasks)}
    assert {task.defects: results for task, results in done} == alone


def test_an_address_without_a_scheduler_is_said_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("interlock.base.cluster._CONNECT_SECONDS", 1)
    choice = Choice(scheduler="tcp://127.0.0.1:9")
    with pytest.raises(NoClusterError, match=r"no scheduler answers at tcp://127\.0\.0\.1:9"):
        challenge(gate(tmp_path), catalogue()["reference"](), choice)
