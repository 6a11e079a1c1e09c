"""How a terminal tells of a model that is judged again and again."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime

from rich.console import Console, RenderableType
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from interlock.base.visible import in_one_line
from interlock.commands.options import print_line
from interlock.commands.verify import tell
from interlock.commands.verify.changes import Change, changes_between, new_to_look_at
from interlock.commands.verify.judging import Judged
from interlock.oversights.found import because_of_strict


class Telling:
    """Tells each reading of the files in its turn; nothing that was told is wiped away.

    Parameters
    ----------
    console : Console
    clock : callable
        The time of day.
    """

    def __init__(self, console: Console, clock: Callable[[], datetime] = datetime.now) -> None:
        self._console, self._clock = console, clock
        self._last: Judged | None = None
        self._judged_at = ""

    def _time(self) -> str:
        return f"{self._clock():%H:%M:%S}"

    def saved(self, files: Sequence[str], while_judging: bool) -> None:
        """Head the next reading with the files that it is made for."""
        when = "saved while judging, which begins anew" if while_judging else "saved"
        names = in_one_line(", ".join(files)) or "nothing else than before"
        self._console.print(Text(f"\n{self._time()} {when}: {names}", style="bold"))

    def verdicts(self, judged: Judged) -> None:
        """Tell all of the first verdicts; of later ones what is otherwise."""
        if self._last is None:
            tell.write(self._console, judged.result, judged.looked, judged.by_strict)
            said = ". What is saved from now on is judged again; Ctrl-C ends."
        else:
            for part in _otherwise(self._last, judged):
                self._console.print(part)
            said = f"; before, {self._judged_at}: {_counts(self._last)}."
        self._last, self._judged_at = judged, self._time()
        self._console.print(Text(f"{self._judged_at} {_counts(judged)}{said}", style="bold"))

    def same(self) -> None:
        """Tell that what was saved means what it meant."""
        says = "Nothing that means anything is otherwise, so nothing was explored anew."
        self._console.print(f"{says} {self._standing('')}")

    def mistakes(self, lines: Iterable[str]) -> None:
        """Tell mistakes, and which verdicts there still are."""
        for line in lines:
            print_line(line, err=True)
        self._console.print(self._standing(", before the mistakes"))

    def end(self) -> None:
        """Tell which verdicts are the last ones."""
        self._console.print(f"\nEnded. {self._standing('')}")

    def _standing(self, which: str) -> str:
        if self._last is None:
            return "There is no verdict yet."
        return f"The verdicts are those of {self._judged_at}{which}: {_counts(self._last)}."


def _counts(judged: Judged) -> str:
    """``3 holds, 1 violated``, and what --strict makes of it."""
    said = judged.result.counts
    n = len(judged.looked.oversights)
    return f"{said}, {n} worth a look" if judged.strict and n else said


def _otherwise(before: Judged, now: Judged) -> list[RenderableType]:
    changes = changes_between(before, now)
    parts: list[RenderableType] = [_table(changes)] if changes else ["No verdict is otherwise."]
    for change in changes:
        if change.shows_a_run:
            parts += ["", tell.violation(now.result, change.finding)]
    to_look_at = new_to_look_at(before, now)
    if to_look_at:
        parts += ["", Text("Worth a look, and new", style="bold")]
        parts += [Padding(Text(f"{one}."), (0, 0, 0, 2), expand=False) for one in to_look_at]
    if now.by_strict:
        parts.append(Text(because_of_strict(now.looked), style="bold"))
    cut = now.result.exploration.limit
    if cut is not None:
        parts.append(Text(f"Exploration was cut short: {cut}.", style="yellow"))
    return parts


def _table(changes: Sequence[Change]) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    table.add_column("", no_wrap=True)
    table.add_column("requirement", ratio=1)
    table.add_column("what is otherwise", ratio=1)
    for change in changes:
        requirement = change.finding.requirement
        style = "" if change.now is None else tell.STYLE[change.now.outcome]
        table.add_row(requirement.id, escape(requirement.says), Text(change.says, style=style))
    return table
