"""How advised permissives are told on a terminal and as data."""

from __future__ import annotations

import json
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from interlock.commands.advise.study import Advice, Advices, Meeting
from interlock.st.evaluate import as_written
from interlock.st.write import write_expression
from interlock.telling.program import between_data, between_told

_LONGEST = 800
_LEGEND = (
    "Each permissive is the weakest one for its output with the rest of the program as it is, if "
    "switching off must be possible at any time; it is made to keep 'never' and 'always' of single "
    "states. The other requirements were judged with it: what forbids, with the output on in any "
    "of the scans that it lets be; what has to come, with the output on in all of them. Inserted, "
    "it was judged again by exploration."
)


def write(console: Console, advices: Advices) -> None:
    """Print the advice for every output."""
    console.print(render(advices))


def render(advices: Advices) -> RenderableType:
    """The advice for every output, beside what the program says."""
    parts: list[RenderableType] = [
        Text(advices.model.title, style="bold"),
        Text(f"{advices.run_class.says}; {between_told(advices.model)}"),
        "",
    ]
    for advice in advices.advices:
        parts += [_advice(advice), ""]
    return Group(*parts, Text(_LEGEND))


def _advice(advice: Advice) -> RenderableType:
    rows: list[RenderableType] = [Text(advice.output, style="bold")]
    if advice.permissive is None or advice.line is None:
        said = advice.reason + (f" ({advice.limit})" if advice.limit else "")
        return Group(*rows, Text(f"  nothing advised: {said}", style="yellow"))
    place = advice.line.statement.place
    rows.append(_indented(f"at {place.line}:{place.column}", _now(advice)))
    rows.append(_indented("advised", _shortened(advice.text), "green"))
    if advice.narrower is not None:
        text = write_expression(as_written(advice.narrower))
        rows.append(_indented("over what the line reads now", _shortened(text), "green"))
    rows.append(Text(f"  keeps {', '.join(advice.kept) or 'nothing'}"))
    if not advice.comes_on:
        says = "  with it the output never comes on: no logic over what can be seen is safe and on"
        rows.append(Text(says, style="yellow"))
    if advice.lost:
        rows.append(
            Text(
                f"  not up to this output, violated with it off for ever: {', '.join(advice.lost)}",
                style="yellow",
            )
        )
    has_scans = advice.n_safe + advice.n_unsafe == advice.n_states
    others = "" if has_scans else "; in the others no scan may come"
    rows.append(
        Text(
            f"  of {advice.n_states:,} states on is safe in {advice.n_safe:,}, unsafe in "
            f"{advice.n_unsafe:,}, as far as these go{others}; {advice.n_sights:,} sights"
        )
    )
    rows += _others(advice)
    rows += _alike(advice)
    against = "the program has it on against the permissive"
    rows += _meeting(advice.permits_more, against, "bold red", "never: " + against)
    blocks = "the program has it off where on would be safe, the rest staying as it is"
    rows += _meeting(advice.blocks_more, blocks, "bold", "never: " + blocks)
    return Group(*rows)


def _others(advice: Advice) -> list[Text]:
    """What becomes of the requirements that the number of safe states says nothing of."""
    others = advice.others
    rows = []
    if others.kept:
        rows.append(Text(f"  with it, kept too: {', '.join(others.kept)}"))
    if others.not_kept:
        said = f"  NOT kept with it, however safe the states: {', '.join(others.not_kept)}"
        rows.append(Text(said, style="bold red"))
    if others.undecided:
        said = f"  whether it keeps these is not decided: {', '.join(others.undecided)}"
        rows.append(Text(said, style="yellow"))
    return rows


def _shortened(text: str) -> str:
    if len(text) <= _LONGEST:
        return text
    n_terms = text.count(" OR ") + 1
    return f"{text[:_LONGEST].rpartition(' ')[0]} … ({n_terms:,} terms; all of them with --json)"


def _now(advice: Advice) -> str:
    assert advice.line is not None
    return write_expression(as_written(advice.line.statement.value))


def _indented(label: str, text: str, style: str = "") -> RenderableType:
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True, style="dim")
    table.add_column(style=style)
    table.add_row(label, escape(text))
    return Padding(table, (0, 0, 0, 2))


def _alike(advice: Advice) -> list[RenderableType]:
    if advice.alike is None:
        return []
    rows: list[RenderableType] = [
        Text(
            f"  {advice.n_alike:,} sights are of safe and of unsafe states alike, which no logic "
            f"over them can tell apart; so it stays off in {advice.n_withheld:,} safe states:",
            style="yellow",
        )
    ]
    for word, plant in zip(("safe", "unsafe"), advice.alike, strict=True):
        told = ", ".join(f"{name} {value}" for name, value in plant.items())
        rows.append(Text(f"    {word}: {told or 'the same plant with another memory'}"))
    return rows


def _meeting(
    meeting: Meeting | None, says: str, style: str, otherwise: str
) -> list[RenderableType]:
    if meeting is None:
        return [Text(f"  {otherwise}", style="dim")]
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(justify="right", style="dim")
    for _ in range(3):
        table.add_column()
    for line in meeting.story:
        changes = escape(", ".join(line.changes))
        table.add_row(str(line.number), line.who, escape(line.says), changes)
    heading = f"  {says}; a shortest run, decided by its last scan, step {meeting.n_steps}:"
    return [Text(heading, style=style), Padding(table, (0, 0, 0, 4))]


def to_json(advices: Advices) -> str:
    """The advice as JSON, the same bytes for the same result."""
    data = {
        "model": advices.model.title,
        **between_data(advices.model),
        "run_class": advices.run_class.says,
        "outputs": [_data(advice) for advice in advices.advices],
    }
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def _data(advice: Advice) -> dict[str, Any]:
    narrower = advice.narrower
    return {
        "output": advice.output,
        "program": None if advice.line is None else _now(advice),
        "permissive": advice.text or None,
        "narrower": None if narrower is None else write_expression(as_written(narrower)),
        "comes_on": advice.comes_on,
        "keeps": advice.kept,
        "not_up_to_it": advice.lost,
        "keeps_too": advice.others.kept,
        "not_kept": advice.others.not_kept,
        "not_decided": advice.others.undecided,
        "states": advice.n_states,
        "safe": advice.n_safe,
        "unsafe": advice.n_unsafe,
        "sights": advice.n_sights,
        "sights_alike": advice.n_alike,
        "alike": advice.alike,
        "on_against_it": _run_data(advice.permits_more),
        "off_without_need": _run_data(advice.blocks_more),
        "reason": advice.reason or None,
        "limit": advice.limit,
    }


def _run_data(meeting: Meeting | None) -> list[dict[str, Any]] | None:
    if meeting is None:
        return None
    return [
        {"step": line.number, "who": line.who, "says": line.says, "changes": line.changes}
        for line in meeting.story
    ]
