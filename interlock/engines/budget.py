"""What every engine does about limits and progress; it explores nothing itself."""

from __future__ import annotations

from time import monotonic, perf_counter

from interlock.base.interrupt import is_stopping
from interlock.kernel.query import Limits, Progress, ProgressSink

NO_LIMITS = Limits()
REPORT_EVERY_S = 0.2


class Budget:
    """Watches the limits of one exploration and reports its progress.

    Parameters
    ----------
    limits : Limits
    progress : callable or None
        Called at the start of each stage and then at most every 0.2 seconds.
    """

    def __init__(self, limits: Limits, progress: ProgressSink | None) -> None:
        self.limits = limits
        self.limit: str | None = None
        self._progress = progress
        self._started = perf_counter()
        self._stage = ""
        self._reported = 0.0

    @property
    def seconds(self) -> float:
        """Wall time since the exploration began."""
        return perf_counter() - self._started

    def report(self, stage: str, n_states: int, depth: int) -> None:
        """Tell the caller where the exploration stands, if it is time to."""
        if self._progress is None:
            return
        now = self.seconds
        if stage != self._stage or now - self._reported >= REPORT_EVERY_S:
            self._stage, self._reported = stage, now
            self._progress(Progress(stage, n_states, depth, now))

    def spent(self, n_bytes: int = 0) -> bool:
        """Whether time or memory has run out; the first limit hit stays the one named."""
        most_bytes = self.limits.max_bytes
        if self.limit is None:
            self.limit = self._ended()
        if self.limit is None and most_bytes is not None and n_bytes > most_bytes:
            self.limit = f"bytes {most_bytes:,}"
        return self.limit is not None

    def out_of_time(self) -> bool:
        """Whether no time is left, whatever other limit was hit before."""
        if self._ended() is None:
            return False
        self.spent()
        return True

    def long_out_of_time(self) -> bool:
        """Whether as much time again has gone by as there was: enough to look at what was found."""
        most_s, until = self.limits.max_seconds, self.limits.until
        if most_s is None or not self.out_of_time():
            return False
        return self.seconds >= 2 * most_s if until is None else monotonic() >= until + most_s

    def _ended(self) -> str | None:
        """What ends the work whatever memory is left; None while nothing does."""
        most_s, until = self.limits.max_seconds, self.limits.until
        if is_stopping():
            return "Ctrl-C"
        if most_s is None:
            return None
        is_over = self.seconds >= most_s or (until is not None and monotonic() >= until)
        return f"seconds {most_s:g}" if is_over else None

    def refuse_state(self, most: int) -> None:
        """Note that a state more than `most` was met."""
        self.limit = self.limit or f"states {most:,}"
