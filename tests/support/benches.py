"""Shipped models on the bench, each made ready once."""

from __future__ import annotations

from functools import cache

from interlock.commands.operate.bench import Bench
from tests.support.models import shipped


@cache
def bench(name: str) -> Bench:
    """The model in ``models/<name>`` made ready."""
    return Bench(shipped(name))
