"""For test suites of one's own: models collected by pytest, and controllers driven by Hypothesis.

pytest loads `interlock.testing.plugin` by itself. What needs more than pytest is imported when it
is used, so that a test run that has nothing to do with models starts as fast as before::

    from interlock.testing import machine_for

    TestMyController = machine_for("models/ramp", MyController()).TestCase
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from interlock.testing.controllers import ControllerError, ControllerUnderTest
    from interlock.testing.machine import machine_for
    from interlock.testing.socket_controller import SocketController

__all__ = ["ControllerError", "ControllerUnderTest", "SocketController", "machine_for"]

_HOMES = {
    "ControllerError": "controllers",
    "ControllerUnderTest": "controllers",
    "SocketController": "socket_controller",
    "machine_for": "machine",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
