"""Work on a Dask cluster that nobody waits for any more."""

from __future__ import annotations

import time

import pytest

from interlock.base.interrupt import given_up_when

distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")

FOR_EVER_S = 60.0


def doubled_or_slow(item: int) -> int:
    """Twice the item; what is negative takes longer than anybody waits."""
    if item < 0:
        time.sleep(FOR_EVER_S)
    return 2 * item


@pytest.mark.slow
def test_what_is_not_done_in_time_or_wanted_no_more_is_left_out() -> None:
    from interlock.base.cluster import Cluster

    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as local:
        cluster = Cluster(local.scheduler_address)
        assert sorted(cluster.spread(doubled_or_slow, [3, 4, 5])) == [(0, 6), (1, 8), (2, 10)]
        started = time.monotonic()
        answers = cluster.spread(doubled_or_slow, [8, -1])
        assert next(answers) == (0, 16)
        with given_up_when(lambda: True):
            assert list(answers) == []
        late = cluster.spread(doubled_or_slow, [-1, -1], until=time.monotonic() + 1)
        assert list(late) == []
        assert time.monotonic() - started < FOR_EVER_S
