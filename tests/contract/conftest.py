"""The tests of this folder run over every engine, or over every one that offers what they ask."""

from __future__ import annotations

import pytest

from interlock.engines import catalogue
from interlock.kernel.kept import Keeps
from interlock.kernel.projected import Projects
from interlock.kernel.varied import Varies
from tests.support.engines import ENGINES, explore

__all__ = ["explore", "keeps", "projects", "varies"]


def offering(kind: type) -> list[str]:
    """The engines that offer what `kind` says."""
    return [name for name in ENGINES if isinstance(catalogue()[name](), kind)]


@pytest.fixture(params=offering(Keeps))
def keeps(request: pytest.FixtureRequest) -> Keeps:
    """Each engine that keeps states, in turn."""
    engine = catalogue()[request.param]()
    assert isinstance(engine, Keeps)
    return engine


@pytest.fixture(params=offering(Projects))
def projects(request: pytest.FixtureRequest) -> Projects:
    """Each engine that sees states through some variables, in turn."""
    engine = catalogue()[request.param]()
    assert isinstance(engine, Projects)
    return engine


@pytest.fixture(params=offering(Varies))
def varies(request: pytest.FixtureRequest) -> Varies:
    """Each engine that explores changed systems beside one, in turn."""
    engine = catalogue()[request.param]()
    assert isinstance(engine, Varies)
    return engine
