"""A project executed as written, its scalars executed as written, and its lowered system.

All three must give the same values in every scan, and find the same flaws.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace

from interlock.base.errors import InputError, InternalError, Mistake
from interlock.kernel.evaluate import evaluate
from interlock.st import syntax as sx
from interlock.st.check import check_program
from interlock.st.direct.controller import DirectController
from interlock.st.elaborate.root import elaborate
from interlock.st.layout import PREFIX, Settings, lay_out
from interlock.st.lower import Lowered, lower_program
from interlock.st.parser import parse_file
from tests.support.random_projects import Act, RandomProject
from tests.support.scalars_as_project import as_project, plain_name


class _Scalars:
    """The scalars that elaboration makes of a project, executed as written."""

    what = "its scalars"

    def __init__(self, program: sx.Program, settings: Settings) -> None:
        self.controller = DirectController([as_project(program)], program.name, settings)

    def values(self) -> dict[str, float]:
        return {_plain(name): value for name, value in self.controller.values().items()}

    def due(self) -> list[str]:
        return self.controller.running_timers()

    def elapse(self, timer: str) -> None:
        self.controller.elapse(timer)

    def restart(self) -> None:
        self.controller.restart()

    def scan(self, inputs: dict[str, int]) -> tuple[Mistake, ...]:
        return self.controller.scan({plain_name(n): v for n, v in inputs.items()}).defects


class _Lowered:
    """The lowered system, computed by the kernel's evaluation."""

    what = "the lowered system"

    def __init__(self, lowered: Lowered) -> None:
        self._lowered = lowered
        self._values = {v.name: v.initial for v in lowered.variables}
        self._moves = {
            plain_name(move.origin.of): move for move in lowered.timer_moves if move.origin
        }

    def values(self) -> dict[str, float]:
        return {_plain(name): value for name, value in self._values.items()}

    def due(self) -> list[str]:
        return [name for name, m in self._moves.items() if evaluate(m.guard, self._values)]

    def elapse(self, timer: str) -> None:
        updates = self._moves[timer].updates
        self._values |= {name: evaluate(e, self._values) for name, e in updates.items()}

    def restart(self) -> None:
        self._values |= {name: evaluate(e, {}) for name, e in self._lowered.restart.items()}

    def scan(self, inputs: dict[str, int]) -> tuple[Mistake, ...]:
        env = self._values | {f"input.{name}": value for name, value in inputs.items()}
        flaws = tuple(
            Mistake(f.place, f.says) for f in self._lowered.flaws if evaluate(f.when, env)
        )
        self._values |= {name: evaluate(e, env) for name, e in self._lowered.updates.items()}
        return flaws


def _plain(name: str) -> str:
    is_memory = name.startswith(PREFIX)
    return PREFIX + plain_name(name.removeprefix(PREFIX)) if is_memory else plain_name(name)


def disagreements(
    project: RandomProject, acts: Sequence[Act], settings: Settings, counts: Counter[str]
) -> Iterator[str]:
    """Where the three differ; nothing for a project that elaboration refuses.

    Parameters
    ----------
    project : RandomProject
    acts : sequence of Act
    settings : Settings
    counts : Counter
        Receives what was compared, and why what was not.
    """
    files = [parse_file(text, name) for name, text in project.texts.items()]
    try:
        program = elaborate(files, project.root).program
    except InputError as refused:
        DirectController(files, project.root, settings)
        counts[f"refused: {refused.mistakes[0].says}"] += 1
        return
    acts = [_with_addresses(act, program) for act in acts]
    spans: dict[str, tuple[int, int]] = {}
    tables: dict[str, tuple[float, ...]] = {}
    lowered: Lowered | None = None
    try:
        typed = check_program(program)
        lowered = lower_program(typed, settings)
        spans = {v.name: (v.domain.lo, v.domain.hi) for v in lowered.variables}
        tables = lay_out(typed, settings).tables
    except InputError as refused:
        counts[f"not lowered: {refused.mistakes[0].says}"] += 1
    written = DirectController(files, project.root, settings)
    yield from _compared(written, _Scalars(program, settings), acts)
    counts["scalars"] += 1
    if lowered is not None:
        written = DirectController(files, project.root, settings, spans, tables)
        yield from _compared(written, _Lowered(lowered), acts)
        counts["lowered"] += 1


def _with_addresses(act: Act, program: sx.Program) -> Act:
    """`act` with values for the inputs that are no VAR_INPUT of the root; they are BOOL."""
    names = [n.text for d in program.declarations if d.kind == "VAR_INPUT" for n in d.names]
    given = {name: (len(name) + act.inputs["n0"]) % 2 for name in names}
    return replace(act, inputs=given | act.inputs)


def _compared(
    written: DirectController, other: _Scalars | _Lowered, acts: Sequence[Act]
) -> Iterator[str]:
    for number, act in enumerate(acts):
        due = {plain_name(name): name for name in written.running_timers()}
        if sorted(due) != sorted(other.due()):
            yield f"{number}: {sorted(due)} may elapse, of {other.what} {sorted(other.due())}"
            return
        if act.elapses is not None and act.elapses < len(due):
            timer = sorted(due)[act.elapses]
            written.elapse(due[timer])
            other.elapse(timer)
        if act.restarts:
            written.restart()
            other.restart()
        found, theirs = written.scan(act.inputs).defects, other.scan(act.inputs)
        try:
            values = {_plain(name): value for name, value in written.values().items()}
        except InternalError as error:
            yield f"{number}: {error}"
            return
        for name, value in other.values().items():
            if values.get(name) != value:
                yield f"{number}: {name} is {values.get(name)}, of {other.what} {value}"
                return
        difference = _other_flaws(found, theirs)
        if difference:
            yield f"{number}: {difference}, of {other.what}"
            return


def _where(mistake: Mistake) -> tuple[str, int]:
    """The line: a choice by a computed index has no column of its own among scalars."""
    return mistake.place.file, mistake.place.line


def _other_flaws(found: Sequence[Mistake], theirs: Sequence[Mistake]) -> str:
    """How the flaws that were met differ, by their places."""
    ours, others = {_where(m) for m in found}, {_where(m) for m in theirs}
    # What is written outside an array is not worked out by elaboration, nor what goes wrong in it.
    is_outside = any("index" in mistake.says for mistake in found)
    if ours == others or (is_outside and others <= ours):
        return ""
    more = [str(m) for m in found if _where(m) not in others]
    less = [str(m) for m in theirs if _where(m) not in ours]
    return f"flaws differ: {more} and {less}"
