"""How a rehearsal is told: on a terminal, as JSON and as a table of comma-separated values."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable
from math import inf
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from interlock import __version__
from interlock.base import spreadsheet
from interlock.commands.rehearse.results import (
    Class,
    DeviationResult,
    Rehearsal,
    Rehearsed,
    Stand,
    StepResult,
)
from interlock.commands.rehearse.why import Reason
from interlock.independent_judge.story import tell
from interlock.model.model import Duration, Model
from interlock.telling.program import between_data, between_told

_STYLE = {
    Class.VIOLATING: "bold red",
    Class.STUCK: "bold red",
    Class.RECOVERABLE: "yellow",
    Class.BLOCKED: "cyan",
    Class.HARMLESS: "green",
    Class.UNDECIDED: "yellow",
}
LEGEND = (
    "Each procedure starts in one state: the one that the fewest moves lead to. "
    "People are slower than a scan: what is seen is what follows one. "
    "Whoever deviates goes on with the procedure. "
    "violating: a requirement is violated, or what can always still be done is lost for ever. "
    "stuck: no way back to the goal that violates nothing. "
    "blocked: it comes to a stand; doing the step then, and going on, ends as it should. "
    "recoverable: it comes to a stand, and another way leads back to the goal. "
    "harmless: it ends as it should, and no requirement is violated, in this model. "
    "Actions back: people's actions on a run of the fewest moves to the goal."
)


def write(console: Console, rehearsal: Rehearsal) -> None:
    """Print a rehearsal."""
    console.print(render(rehearsal))


def render(rehearsal: Rehearsal) -> RenderableType:
    """The whole rehearsal."""
    parts: list[RenderableType] = [
        Text(f"{rehearsal.model.title}: rehearsal", style="bold"),
        Text(between_told(rehearsal.model)),
    ]
    for rehearsed in rehearsal.rehearsed:
        parts += ["", *_procedure(rehearsal, rehearsed)]
    parts += ["", Text(LEGEND)]
    for title, lines in (
        ("Assumptions", rehearsal.model.assumptions),
        ("Cautions", (*rehearsal.procedures.cautions, *rehearsal.model.cautions)),
    ):
        if lines:
            parts.append(Text(f"{title}:"))
            parts += [Text(f"  - {line}") for line in lines]
    return Group(*parts)


def duration(seconds: float) -> str:
    """A duration in words.

    >>> duration(75), duration(20)
    ('1 min 15 s', '20 s')
    """
    if seconds == inf:
        return "any time"
    minutes, rest = divmod(round(seconds), 60)
    if not minutes:
        return f"{rest} s"
    return f"{minutes} min {rest} s" if rest else f"{minutes} min"


def duration_of(rehearsed: Rehearsed) -> str:
    """How long a procedure takes, and on what that rests."""
    takes = rehearsed.takes
    if takes is None:
        unknown = [s.step.id for s in rehearsed.steps if s.takes is None]
        return f"an unknown time: no duration of {', '.join(unknown) or 'its steps'}"
    sources = [takes.source] if takes.source else []
    if takes.assumed:
        sources.append("assumed")
    return f"{duration(takes.least)} to {duration(takes.greatest)} ({'; '.join(sources)})"


def _procedure(rehearsal: Rehearsal, rehearsed: Rehearsed) -> list[RenderableType]:
    procedure = rehearsed.procedure
    parts: list[RenderableType] = [
        Text(f"{procedure.id}: {procedure.says}", style="bold"),
        Text(f"  takes {duration_of(rehearsed)}; {len(procedure.steps)} steps"),
    ]
    if rehearsed.limit is not None:
        parts.append(Text(f"  undecided: {rehearsed.limit}", style="yellow"))
        return parts
    if rehearsed.start is None:
        said = "  no state to start from was found: its start condition, with nothing pressed and "
        parts.append(Text(said + "nothing moving, was not reached", style="bold red"))
        return parts
    parts.append(Padding(_steps(rehearsed.steps), (0, 0, 0, 2)))
    short = [step.step.id for step in rehearsed.steps if step.is_too_short]
    if short:
        said = f"  the plant takes longer than the procedure gives: {', '.join(short)}"
        parts.append(Text(said, style="yellow"))
    if not rehearsed.ends:
        parts.append(Text("  as written it does not surely end in its end condition", "bold red"))
    if rehearsed.requirement is not None:
        said = f"  as written it violates {rehearsed.requirement}"
        parts.append(Text(said, style="bold red"))
        parts.append(_run(rehearsal.model, rehearsed.run))
    for name, results in (("deviations", rehearsed.singles), ("pairs", rehearsed.pairs)):
        if results:
            parts.append(Text(f"  {len(results)} {name}: {counted(results)}"))
            told = [r for r in results if r.outcome is not Class.HARMLESS]
            if name == "pairs":
                told = [r for r in told if r.outcome in (Class.VIOLATING, Class.STUCK)]
            if told:
                parts.append(Padding(_deviations(told), (0, 0, 0, 2)))
    for result in rehearsed.singles:
        if result.run is not None:
            said = f"  {result.requirement} violated where {says(result)}; replayed on the model:"
            parts += ["", Text(said, style="bold red"), _run(rehearsal.model, result.run)]
    return parts


def counted(results: Iterable[DeviationResult]) -> str:
    """How many deviations are in each class."""
    counts = Counter(result.outcome for result in results)
    return ", ".join(f"{counts[c]} {c.value}" for c in Class if counts[c])


def says(result: DeviationResult) -> str:
    """A deviation, or two, in words."""
    return "; and ".join(deviation.says for deviation in result.deviations)


def _steps(steps: Iterable[StepResult]) -> Table:
    table = _table(
        "step", "who", "what", "done", "observer", "s", "plant s", "states", "surely ends"
    )
    for result in steps:
        step = result.step
        table.add_row(
            step.id,
            step.who,
            escape(step.says),
            escape(step.done.text),
            escape(step.observer),
            seconds_of(result.takes),
            "" if result.plant is None else seconds_of(result.plant.takes),
            str(result.n_starts),
            _surely(result),
        )
    return table


def seconds_of(takes: Duration | None) -> str:
    """Least and greatest seconds; '?' where they are not known, '…' for no end."""
    if takes is None:
        return "?"
    greatest = "…" if takes.greatest == inf else f"{takes.greatest:g}"
    return f"{takes.least:g}–{greatest}"


def _surely(result: StepResult) -> Text:
    if not result.n_starts:
        return Text("not reached", style="red")
    if result.inevitable is None:
        return Text("undecided", style="yellow")
    if result.inevitable:
        return Text("yes", style="green")
    word = "not always" if result.executable else "never"
    why = result.stand.reason if result.stand is not None else None
    return Text(word + (f": {told(why)}" if why is not None else ""), style="bold red")


def may_also(result: StepResult) -> list[str]:
    """What a step may also end in, or come to a stand at, in words."""
    said = [f"end with {name} {' or '.join(states)}" for name, states in result.also]
    if result.n_starts and not result.inevitable:
        why = result.stand.reason if result.stand is not None else None
        said.append("not end" + (f": {told(why)}" if why is not None else ""))
    return said


def _table(*headings: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for heading in headings:
        table.add_column(heading)
    return table


def _deviations(results: Iterable[DeviationResult]) -> Table:
    table = _table("outcome", "deviation", "stands at", "why", "actions back")
    order = list(Class)
    for result in sorted(results, key=lambda r: order.index(r.outcome)):
        outcome = Text(result.outcome.value, style=_STYLE[result.outcome])
        table.add_row(
            outcome,
            escape(says(result)),
            stands_at(result.stand),
            escape(why(result)),
            back(result),
        )
    return table


def stands_at(stand: Stand | None) -> str:
    """The step at which a procedure stands."""
    return "" if stand is None else stand.step or "the end"


def why(result: DeviationResult) -> str:
    """Which requirement is violated, or what keeps the procedure from going on."""
    if result.requirement is not None:
        return f"violates {result.requirement}"
    if result.limit is not None:
        return result.limit
    violates = None if result.way is None else result.way.violates
    said = [] if violates is None else [f"the way back violates {violates}"]
    if result.stand is not None and result.stand.reason is not None:
        said.insert(0, told(result.stand.reason))
    return "; ".join(said)


def told(reason: Reason) -> str:
    """The chain in short: the program's permissives with their lines, and what is missing."""
    chain = reason.chain()
    links = [link for link in chain if link.permissive]
    parts = [f"{link.text.split()[0]} ({place(link)})" for link in links]
    last = chain[-1]
    if not links or last is not links[-1]:
        parts.append(f"{last.text} ({place(last)})")
    return " ← ".join(parts)


def place(reason: Reason) -> str:
    """File and line, without the folder, and the element in a drawing."""
    return reason.place.short


def back(result: DeviationResult) -> str:
    """How many actions lead back, and from how many of the stands that was asked."""
    if result.way is None or not result.way.found:
        return "none" if result.outcome is Class.STUCK else ""
    searched = ""
    if result.n_searched < result.n_stands:
        searched = f" ({result.n_searched} of {result.n_stands} states asked)"
    return f"{result.way.n_actions}{searched}"


def _run(model: Model, run: Any) -> RenderableType:
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(justify="right", style="dim")
    for line in tell(model, run):
        decided = " ".join(place.short for place in line.decided)
        what = escape(", ".join(line.changes))
        table.add_row(str(line.number), line.who, escape(line.says), what, escape(decided))
    return Padding(table, (0, 0, 0, 4))


def to_json(rehearsal: Rehearsal) -> str:
    """The rehearsal as JSON: the same bytes for the same input."""
    model = rehearsal.model
    sources = {**model.sources, **rehearsal.procedures.sources}
    data = {
        "interlock": __version__,
        "model": model.title,
        "inputs": {
            name.replace("\\", "/").rsplit("/", 1)[-1]: hashlib.sha256(text.encode()).hexdigest()
            for name, text in sources.items()
        },
        "goal": rehearsal.procedures.goal.text,
        **between_data(model),
        "outcome": rehearsal.outcome.value,
        "legend": LEGEND,
        "assumptions": list(model.assumptions),
        "cautions": [*rehearsal.procedures.cautions, *model.cautions],
        "procedures": [_procedure_data(rehearsal, r) for r in rehearsal.rehearsed],
    }
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def _duration_data(takes: Duration) -> dict[str, Any]:
    return {
        "least_seconds": takes.least,
        "greatest_seconds": None if takes.greatest == inf else takes.greatest,
        "source": takes.source,
        "assumed": takes.assumed,
    }


def _procedure_data(rehearsal: Rehearsal, rehearsed: Rehearsed) -> dict[str, Any]:
    procedure = rehearsed.procedure
    takes = rehearsed.takes
    return {
        "id": procedure.id,
        "says": procedure.says,
        "outcome": rehearsed.outcome.value,
        "takes": None if takes is None else _duration_data(takes),
        "start_found": rehearsed.start is not None,
        "start_moves": list(rehearsed.start or ()),
        "limit": rehearsed.limit,
        "ends": rehearsed.ends,
        "violates": rehearsed.requirement,
        "steps": [
            {
                "id": s.step.id,
                "who": s.step.who,
                "says": s.step.says,
                "done": s.step.done.text,
                "observer": s.step.observer,
                "takes": None if s.takes is None else _duration_data(s.takes),
                "plant_takes": None if s.plant is None else _duration_data(s.plant.takes),
                "without_duration": [] if s.plant is None else list(s.plant.unknown),
                "may_also": may_also(s),
                "executable": s.executable,
                "inevitable": s.inevitable,
                "n_start_states": s.n_starts,
            }
            for s in rehearsed.steps
        ],
        "deviations": [_deviation_data(rehearsal.model, d) for d in rehearsed.singles],
        "pairs": [_deviation_data(rehearsal.model, d) for d in rehearsed.pairs],
    }


def _deviation_data(model: Model, result: DeviationResult) -> dict[str, Any]:
    data: dict[str, Any] = {
        "kinds": [d.kind.value for d in result.deviations],
        "steps": [list(d.steps) for d in result.deviations],
        "says": says(result),
        "outcome": result.outcome.value,
        "probability": [a.probability for a in result.anchors],
        "probability_source": [a.source for a in result.anchors],
        "violates": result.requirement,
        "stands_at": stands_at(result.stand) or None,
        "why": why(result) or None,
        "missing": [],
        "actions_back": result.way.n_actions if result.way and result.way.found else None,
        "moves_back": list(result.way.moves) if result.way and result.way.found else None,
        "only_taught_actions": result.way.taught if result.way else None,
        "way_violates": result.way.violates if result.way else None,
        "violating_moves": list(result.way.moves) if result.way and result.way.violates else None,
        "n_stands": result.n_stands,
        "n_stands_searched": result.n_searched,
        "limit": result.limit,
    }
    if result.stand is not None and result.stand.reason is not None:
        ends = result.stand.reason.ends
        data["missing"] = [{"says": end.text, "place": place(end)} for end in ends]
    if result.run is not None:
        data["run"] = [line.says for line in tell(model, result.run, quiet_scans=True)]
    return data


_COLUMNS = (
    *("procedure", "kinds", "steps", "deviation", "outcome", "violates"),
    *("stands_at", "why", "actions_back", "probability", "source"),
)


def to_csv(rehearsal: Rehearsal) -> str:
    """One row for each deviation and each pair."""
    rows: list[Iterable[object]] = [_COLUMNS]
    for rehearsed in rehearsal.rehearsed:
        for result in (*rehearsed.singles, *rehearsed.pairs):
            known = result.way is not None and result.way.found
            figures = [
                "" if a.probability is None else f"{a.probability:g}" for a in result.anchors
            ]
            rows.append(
                [
                    rehearsed.procedure.id,
                    " + ".join(d.kind.value for d in result.deviations),
                    " + ".join("/".join(d.steps) for d in result.deviations),
                    says(result),
                    result.outcome.value,
                    result.requirement or "",
                    stands_at(result.stand),
                    why(result),
                    result.way.n_actions if known and result.way else "",
                    " + ".join(figures).strip(" +"),
                    " + ".join(dict.fromkeys(a.source for a in result.anchors)),
                ]
            )
    return spreadsheet.to_csv(rows)
