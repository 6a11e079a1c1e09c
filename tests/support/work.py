"""How much work a call is: counted, so that no clock of a busy machine decides."""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import FrameType
from typing import Any

from interlock.base.errors import InputError


def work_of(read: Callable[[], object]) -> int:
    """How many lines of Python `read` runs through, also where it refuses its input.

    What a function written in C does counts as one; where that may take long, too, kill a process.
    """
    n_done = 0

    def count(_frame: FrameType, event: str, _: object) -> Any:
        nonlocal n_done
        n_done += event == "line"
        return count

    before = sys.gettrace()
    sys.settrace(count)
    try:
        read()
    except InputError:
        pass
    finally:
        sys.settrace(before)
    return n_done
