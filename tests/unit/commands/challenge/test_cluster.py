"""A challenge spread over a Dask cluster, one of whose workers is killed on the way."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from interlock.commands.challenge.defects import defects_of
from interlock.commands.challenge.study import Choice, challenge
from interlock.commands.challenge.trial import Courtroom
from interlock.commands.challenge.work import Here, NoClusterError
from interlock.engines import catalogue
from tests.support.gate import gate
from tests.unit.commands.challenge.test_study import looks

distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
pytestmark = pytest.mark.slow


def test_a_killed_worker_loses_no_trial_and_repeats_none(tmp_path: Path) -> None:
    from interlock.commands.challenge.cluster import Cluster

    model = gate(tmp_path)
    courtroom = Courtroom(model, catalogue()["reference"]())
    tasks = looks(model, len(defects_of(model)))
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        pids = [worker.pid for worker in cluster.workers.values()]
        done = []
        for answer in Cluster(courtroom, cluster.scheduler_address).run(tasks):
            done.append(answer)
            if len(done) == 2:
                os.kill(pids[0], signal.SIGKILL)
    assert sorted(task.defects for task, _ in done) == sorted(task.defects for task in tasks)
    alone = {task.defects: trials for task, trials in Here(courtroom).run(tasks)}
    assert {task.defects: trials for task, trials in done} == alone


def test_an_address_without_a_scheduler_is_said_so(tmp_path: Path) -> None:
    choice = Choice(scheduler="tcp://127.0.0.1:9")
    with pytest.raises(NoClusterError, match=r"no scheduler answers at tcp://127\.0\.0\.1:9"):
        challenge(gate(tmp_path), catalogue()["reference"](), choice)
