"""What keeps the whole suite short: nothing here decides what a test checks."""

from __future__ import annotations

import gc
import os
import sys

import pytest
from hypothesis import settings

# Where a test does not say how many examples it takes; the benches take hundreds and more.
# No deadline: how long an example takes depends on what else the machine does.
settings.register_profile("short", max_examples=50, deadline=None)
settings.load_profile("short")


def pytest_configure(config: pytest.Config) -> None:
    """Let processes that tests start share bytecode, also where none may lie beside the sources."""
    cache = getattr(config, "cache", None)
    if sys.dont_write_bytecode and cache is not None:
        os.environ["PYTHONPYCACHEPREFIX"] = str(cache.mkdir("bytecode"))
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


def pytest_sessionfinish() -> None:
    """Let nothing be collected at the end, for a minute, that the end of the process gives back."""
    gc.freeze()


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the slow ones, so that no process is left alone with one at the end."""
    items.sort(key=lambda item: item.get_closest_marker("slow") is None)
