"""Engines; each explores kernel systems and knows nothing else.

This is their only door: whoever studies gets an engine here, by its name or by what it offers
beside `Engine.explore`, and knows it by the protocols of the kernel.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from importlib import import_module
from types import MappingProxyType
from typing import Any, cast

from interlock.kernel.certificate import Certifies
from interlock.kernel.followed import Follows
from interlock.kernel.guided import Guides
from interlock.kernel.kept import Keeps
from interlock.kernel.permitted import Permits
from interlock.kernel.projected import Projects
from interlock.kernel.query import Engine
from interlock.kernel.varied import Varies

# An engine's module is imported when it is first asked for: some load heavy libraries.
_WHERE = {
    "enumerate": ("interlock.engines.enumerate", "EnumeratingEngine"),
    "reference": ("interlock.engines.reference", "ReferenceEngine"),
    "symbolic": ("interlock.engines.symbolic", "SymbolicEngine"),
}


def make(name: str, **options: Any) -> Engine:
    """The engine called `name`, with options of its own.

    Examples
    --------
    >>> make("reference").name
    'reference'
    """
    module, made = _WHERE[name]
    engine: Engine = getattr(import_module(module), made)(**options)
    return engine


def catalogue() -> Mapping[str, Callable[[], Engine]]:
    """Every engine's name with the function that makes one.

    Examples
    --------
    >>> catalogue()["reference"]().name
    'reference'
    """
    return MappingProxyType({name: partial(make, name) for name in _WHERE})


def keeper() -> Keeps:
    """The engine that keeps what it reached, and explores changed systems from there."""
    return cast(Keeps, make("enumerate"))


def varier(**options: Any) -> Varies:
    """The engine that explores changed systems beside one, with options of its own."""
    return cast(Varies, make("symbolic", **options))


def projector() -> Projects:
    """The engine that keeps what it reached, to be seen through some variables."""
    return cast(Projects, make("symbolic"))


def follower() -> Follows:
    """The engine that follows sets of states."""
    return cast(Follows, make("symbolic"))


def guider(**options: Any) -> Guides:
    """The engine that finds ways from many states to one goal, with options of its own."""
    return cast(Guides, make("symbolic", **options))


def permitter() -> Permits:
    """The engine that tells where a move is safe."""
    return cast(Permits, make("symbolic"))


def certifier() -> Certifies:
    """The engine that shows others why queries are not found."""
    return cast(Certifies, make("symbolic"))
