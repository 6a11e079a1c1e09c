"""How a challenge is told on a terminal, in a log and as data."""

from __future__ import annotations

import json
from collections import Counter

from rich.console import Console, Group, RenderableType
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from interlock.commands.challenge.defects import Defect, Region, short_place
from interlock.commands.challenge.gaps_file import GAPS_FILE
from interlock.commands.challenge.results import DefectOutcome, DefectResult
from interlock.commands.challenge.study import Challenge
from interlock.independent_judge.story import Line
from interlock.telling.counts import counted
from interlock.telling.program import between_data, between_told

_STYLE = {
    DefectOutcome.CAUGHT: "green",
    DefectOutcome.EQUIVALENT: "cyan",
    DefectOutcome.GAP: "bold red",
    DefectOutcome.UNDECIDED: "yellow",
}
_LEGEND = (
    "A gap is a defect that changes what the vehicle does and that no requirement notices: either "
    f"a requirement is missing, or the change is harmless and someone says why, in {GAPS_FILE}."
)


def write(console: Console, challenge: Challenge, n_runs: int = 20) -> None:
    """Print the result, with the runs of the first `n_runs` gaps."""
    console.print(render(challenge, n_runs))


def render(challenge: Challenge, n_runs: int = 20) -> RenderableType:
    """The whole result: counts, who caught what, redundant terms, gaps with their runs."""
    parts: list[RenderableType] = [_heading(challenge), _counts(challenge), ""]
    parts += [_catchers(challenge), ""]
    parts += _listed(challenge)
    parts += _accepted(challenge)
    gaps = challenge.open_gaps
    for defect, result in gaps[:n_runs]:
        parts += [_gap(defect, result), ""]
    if len(gaps) > n_runs:
        parts.append(Text("Further gaps, without their runs:", style="bold red"))
        parts += [Text(f"  {_differs(*gap)}") for gap in gaps[n_runs:]]
        parts.append("")
    parts.append(_summary(challenge))
    return Group(*parts)


def _heading(challenge: Challenge) -> RenderableType:
    seeded = f"{len(challenge.defects):,} defects, seeded one at a time"
    if len(challenge.defects) < challenge.n_all:
        seeded += f", of {challenge.n_all:,} that there are"
    if challenge.n_resumed:
        seeded += f"; {challenge.n_resumed:,} taken from the journal"
    between = between_told(challenge.model)
    says = " and ".join(stage.run_class.says for stage in challenge.stages)
    return Group(
        Text(challenge.model.title, style="bold"), Text(f"{seeded}; {says}; {between}"), ""
    )


def _counts(challenge: Challenge) -> Table:
    table = _table()
    for heading in ("seeded in", "sort of defect"):
        table.add_column(heading)
    for outcome in DefectOutcome:
        table.add_column(outcome.value, justify="right", style=_STYLE[outcome])
    counts: dict[tuple[str, str], Counter[DefectOutcome]] = {}
    for defect in challenge.defects:
        row = counts.setdefault((defect.region.value, defect.kind.value), Counter())
        row[challenge.results[defect.id].outcome] += 1
    for region in Region:
        for (where, kind), row in counts.items():
            if where == region.value:
                table.add_row(where, kind, *(str(row[o]) if row[o] else "" for o in DefectOutcome))
    return table


def _catchers(challenge: Challenge) -> Table:
    table = _table()
    table.add_column("")
    table.add_column("requirement", ratio=1)
    table.add_column("caught", justify="right")
    for id_, n_caught in challenge.caught_by.items():
        statement = challenge.model.statements.get(id_)
        says = "the program leaves a range or divides by zero" if statement is None else ""
        table.add_row(id_, escape(statement.says if statement else says), f"{n_caught:,}")
    return table


def _table() -> Table:
    return Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))


def _listed(challenge: Challenge) -> list[RenderableType]:
    parts: list[RenderableType] = []
    redundant = challenge.redundant
    if redundant:
        says = _says_of_redundant(challenge)
        parts += [Text(f"Redundant terms, {says}:", style="bold")]
        parts += [Text(f"  {defect.id}") for defect in redundant] + [""]
    others = [
        (defect, result)
        for defect, result in challenge.with_outcome(DefectOutcome.EQUIVALENT)
        if defect not in redundant
    ]
    if others:
        parts.append(Text("Equivalent over all reachable states:", style="bold"))
        parts += [Text(f"  {d.id} ({t.shown_by})") for d, t in others] + [""]
    undecided = challenge.with_outcome(DefectOutcome.UNDECIDED)
    if undecided:
        parts.append(Text("Undecided, never counted as caught:", style="yellow"))
        parts += [Text(f"  {d.id} ({t.limit})") for d, t in undecided] + [""]
    return parts


def _says_of_redundant(challenge: Challenge) -> str:
    if len(challenge.stages) > 1:
        return "dropped without any difference, under the claimed faults, too"
    return (
        "dropped without any difference while no component fails (what keeps "
        "a fault from doing harm is among them: --faults claimed tells)"
    )


def _accepted(challenge: Challenge) -> list[RenderableType]:
    parts: list[RenderableType] = []
    by_reason: dict[str, list[str]] = {}
    for defect, result, entry in challenge.accepted_gaps:
        by_reason.setdefault(entry.because, []).append(_differs(defect, result))
    if by_reason:
        parts.append(Text("Gaps that are accepted, by the reason:", style="bold"))
        for because, lines in by_reason.items():
            parts.append(Padding(Text(because, style="italic"), (0, 0, 0, 2)))
            parts += [Text(f"    {line}") for line in lines]
        parts.append("")
    if challenge.needless:
        parts.append(Text("Accepted, but no gap (any more); the entry can go:", style="yellow"))
        for defect, result, entry in challenge.needless:
            became = (
                f"caught by {result.requirement}" if result.requirement else result.outcome.value
            )
            parts.append(Text(f"  {entry.place}: {_named(defect)}, {became}"))
        parts.append("")
    return parts


def _named(defect: Defect) -> str:
    """A defect by its place, and as the file of accepted gaps names it."""
    return f"{short_place(defect.place)} {defect.at}: {defect.told}"


def _differs(defect: Defect, result: DefectResult) -> str:
    return f"{_named(defect)}: {result.differs[0]}"


def _gap(defect: Defect, result: DefectResult) -> RenderableType:
    heading = Text(f"gap: {_named(defect)}", style="bold red")
    length = counted(result.n_steps, "step")
    run = "a shortest run" if result.is_shortest else "a run"
    says = f"  {result.run_class}; {run} to the difference, {length}, replayed"
    rows: list[RenderableType] = [heading, Text(f"{says} on both models:")]
    rows.append(Padding(_story(result.story), (0, 0, 0, 2)))
    rows += [Text(f"  now {differs}", style="bold") for differs in result.differs]
    return Group(*rows)


def _story(lines: tuple[Line, ...]) -> Table:
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(justify="right", style="dim")
    for _ in range(3):
        table.add_column()
    for line in lines:
        changes = escape(", ".join(line.changes))
        table.add_row(str(line.number), line.who, escape(line.says), changes)
    return table


def _summary(challenge: Challenge) -> RenderableType:
    counts = [(len(challenge.with_outcome(outcome)), outcome) for outcome in DefectOutcome]
    said = ", ".join(
        counted(n, "gap") if outcome is DefectOutcome.GAP else f"{n:,} {outcome.value}"
        for n, outcome in counts
        if n
    )
    if challenge.accepted_gaps:
        said += f" ({len(challenge.accepted_gaps):,} of the gaps accepted)"
    rows: list[RenderableType] = [Text(f"{said}. {challenge.seconds:.1f} s.", style="bold")]
    idle = [id_ for id_, n_caught in challenge.caught_by.items() if not n_caught]
    if idle:
        rows.append(Text(f"First to notice none of the defects: {', '.join(idle)}."))
    return Group(*rows, Text(_LEGEND))


def _because(challenge: Challenge, defect: Defect) -> str | None:
    entry = challenge.accepted.get(defect.id)
    return None if entry is None else entry.because


def to_json(challenge: Challenge) -> str:
    """The result as JSON, the same bytes for the same result."""
    defects = [
        {
            "region": defect.region.value,
            "kind": defect.kind.value,
            "place": str(defect.place),
            "at": defect.at,
            "says": defect.told,
            "accepted": _because(challenge, defect),
            **challenge.results[defect.id].as_data(),
        }
        for defect in challenge.defects
    ]
    data = {
        "model": challenge.model.title,
        **between_data(challenge.model),
        "run_classes": [stage.run_class.says for stage in challenge.stages],
        "defects_in_all": challenge.n_all,
        "counts": {o.value: len(challenge.with_outcome(o)) for o in DefectOutcome},
        "accepted_gaps": len(challenge.accepted_gaps),
        "caught_by": challenge.caught_by,
        "redundant": [defect.id for defect in challenge.redundant],
        "defects": defects,
    }
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"
