"""Shipped models on the bench, each made ready once."""

from __future__ import annotations

import time
from functools import cache

from interlock.commands.operate.bench import Bench
from interlock.commands.operate.desk import Desk
from tests.support.models import shipped


@cache
def bench(name: str) -> Bench:
    """The model in ``models/<name>`` made ready."""
    return Bench(shipped(name))


def wait_for_verdicts(desk: Desk) -> None:
    """Wait until nothing is being judged any more for a desk."""
    deadline = time.monotonic() + 60
    while desk.open_jobs() and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not desk.open_jobs()
