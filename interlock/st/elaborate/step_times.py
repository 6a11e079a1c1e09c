"""The time of a step of a chart: what it is compared with makes a timer of it.

``Step.T >= T#5s`` is what a TON says whose IN is the step and whose PT is that time. So the time of
a step is free where timers are, and counted where they are counted.
"""

from __future__ import annotations

from collections.abc import Iterator

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.elaborate.shapes import Constant, Located, Unknown
from interlock.st.elaborate.state import Frame
from interlock.st.elaborate.statements import Statements

STEP_TIME = "the time of a step; compare it with a constant time"
"""Why the time of a step is unknown where it is read in any other way."""

# A comparison with its sides changed.
_TURNED = {">": "<", "<": ">", ">=": "<=", "<=": ">="}
_LONGEST_MS = 2**31 - 2


class StepTimes(Statements):
    """Reads comparisons of the times of steps."""

    def value(self, e: sx.Expression, frame: Frame, out: list[sx.Statement]) -> sx.Expression:
        """`e` as an expression over scalars."""
        if isinstance(e, sx.Binary) and e.op in _TURNED:
            for side, other, op in ((e.left, e.right, e.op), (e.right, e.left, _TURNED[e.op])):
                step = self._step_of(side, frame)
                ms = None if step is None else self._milliseconds(other, frame)
                if step is not None and ms is not None:
                    return self._compared(step, op, ms, e.place)
        return super().value(e, frame, out)

    def _step_of(self, e: sx.Expression, frame: Frame) -> str | None:
        """The path of the step whose time `e` is."""
        match e:
            case sx.Name() if e.text.upper().endswith(".T"):
                at = self.reference(e, frame, [])
            case sx.Member() if e.name.upper() == "T":
                at = self.reference(e, frame, [])
            case _:
                return None
        is_it = isinstance(at, Located) and at.shape == Unknown(STEP_TIME)
        return at.path[:-2] if is_it and isinstance(at, Located) else None

    def _milliseconds(self, e: sx.Expression, frame: Frame) -> int | None:
        if isinstance(e, sx.Name):
            at = self.reference(e, frame, [])
            e = at.value if isinstance(at, Constant) else e
        if isinstance(e, sx.Duration) and 0 <= e.ms <= _LONGEST_MS:
            return e.ms
        return None

    def _compared(self, step: str, op: str, ms: int, place: Place) -> sx.Expression:
        # Later than is a millisecond more.
        late = ms + 1 if op in (">", "<=") else ms
        self.reading.found.timed.add((step, late))
        over: sx.Expression = sx.Name(f"{_timer(step, late)}.Q", place)
        if late == 0:
            over = sx.Truth(True, place)
        return over if op in (">", ">=") else sx.Unary("NOT", over, place)

    def timers_of(self, step: str) -> Iterator[str]:
        """The paths of the timers that tell the time of a step."""
        for name, ms in sorted(self.reading.found.timed):
            if name == step and ms:
                yield _timer(step, ms)

    def time_counted(self, step: str, active: sx.Name) -> list[sx.Statement]:
        """Let the timers of a step count while it is active, and up to where it is left.

        Then they are not called any more, so that its time stays (IEC 61131-3, from memory).
        """
        place = active.place
        calls = self.timers_called(step, True, place)
        if not calls:
            return []
        seen = sx.Name(seen_path(step), place)
        counts = sx.Junction("OR", (active, seen), place)
        counted = sx.If((sx.Branch(counts, calls, place),), (), place)
        return [counted, sx.Assign(seen, active, place)]

    def timers_called(self, step: str, is_on: bool, place: Place) -> tuple[sx.Statement, ...]:
        """Calls of the timers of a step: on to count, off to begin anew."""
        return tuple(
            sx.Invoke(
                sx.Name(_timer(step, ms), place),
                (
                    sx.InputArgument("IN", sx.Truth(is_on, place), place),
                    sx.InputArgument("PT", sx.Duration(ms, place), place),
                ),
                (),
                place,
            )
            for name, ms in sorted(self.reading.found.timed)
            if name == step and ms
        )


def seen_path(step: str) -> str:
    """What remembers whether a step was active when its time was last counted."""
    return f"{step}.T_seen"


def _timer(step: str, ms: int) -> str:
    return f"{step}.T_{ms}"
