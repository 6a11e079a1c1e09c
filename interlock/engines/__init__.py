"""Engines; each explores kernel systems and knows nothing else."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from types import MappingProxyType

from interlock.kernel.query import Engine

# An engine's module is imported when it is first asked for: some load heavy libraries.
_WHERE = {
    "enumerate": ("interlock.engines.enumerate", "EnumeratingEngine"),
    "reference": ("interlock.engines.reference", "ReferenceEngine"),
    "symbolic": ("interlock.engines.symbolic", "SymbolicEngine"),
}


def _factory(module: str, name: str) -> Callable[[], Engine]:
    def make() -> Engine:
        engine: Engine = getattr(import_module(module), name)()
        return engine

    return make


def catalogue() -> Mapping[str, Callable[[], Engine]]:
    """Every engine's name with the function that makes one.

    Examples
    --------
    >>> catalogue()["reference"]().name
    'reference'
    """
    return MappingProxyType({name: _factory(*where) for name, where in _WHERE.items()})
