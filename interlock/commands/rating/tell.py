"""How a rating is told on a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from interlock.commands.rating.file import Part, Rating
from interlock.commands.rating.study import Rated, Worked
from interlock.reliability.channel import CCF_POINTS_NEEDED
from interlock.reliability.figures import two_figures

NOTES = (
    "No performance level is awarded here. That takes software, systematic failures, validation "
    "and an assessor. Bands tell where a claimed figure falls.",
    "What inserted faults do not contradict is not proved by them: they are the model's faults.",
)


def render(rating: Rating, rated: Sequence[Rated]) -> RenderableType:
    """Every function: its parts, its figures, and what speaks against its claim."""
    edition = f"ISO 13849-1:{rating.edition}; figures as claimed"
    parts: list[RenderableType] = [Text(rating.title, style="bold"), Text(edition)]
    for one in rated:
        parts += ["", _function(one)]
    parts += ["", *(Text(note) for note in NOTES)]
    if rating.assumptions:
        parts += [Text("Assumptions:"), *(Text(f"  - {line}") for line in rating.assumptions)]
    return Group(*parts)


def _function(one: Rated) -> RenderableType:
    function = one.function
    required = "not given" if one.required is None else f"PLr {one.required.letter}"
    level = "" if function.level is None else f", level {function.level.letter}"
    rows: list[RenderableType] = [
        Text(f"{function.id} {function.says}", style="bold"),
        Text(f"  risk graph: {required}; claimed: category {function.category.value}{level}"),
        _parts(one),
    ]
    rows += [Text(f"  {line}") for line in figures(one.worked, function.ccf_points)]
    rows += [Text(f"  {line}", style="bold red") for line in against(one)]
    open_ = "yellow" if one.undecided else ""
    rows += [Text(f"  {line}", style=open_) for line in standing(one)]
    return Group(*rows)


def _parts(one: Rated) -> RenderableType:
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for heading in ("  channel", "part", "count", "MTTFd, years", "DC", "from"):
        table.add_column(heading)
    for number, (parts, years) in enumerate(
        zip(one.function.channels, one.worked.part_years, strict=True), 1
    ):
        for part, mttfd in zip(parts, years, strict=True):
            table.add_row(
                f"  {number}",
                escape(part.says),
                str(part.count),
                two_figures(mttfd),
                f"{part.dc:.0%}",
                escape(origin(part)),
            )
    return table


def origin(part: Part) -> str:
    """Where a part's figure comes from; 'assumed' wherever it is."""
    words = [part.source] if part.source else []
    if part.b10d_cycles is not None and part.n_per_year is not None:
        cycles = f"B10d {two_figures(part.b10d_cycles)} at {two_figures(part.n_per_year)} a year"
        words.insert(0, cycles)
    if part.assumed:
        words.append("assumed")
    return ", ".join(words)


def figures(worked: Worked, ccf: float | None) -> list[str]:
    """What the arithmetic makes of the parts, in lines."""
    lines = [
        f"MTTFd of a channel {two_figures(worked.mttfd_years)} years; "
        f"DCavg {worked.dc_avg:.0%} ({worked.coverage.name.lower()})"
    ]
    if ccf is not None:
        lines.append(f"points against common cause: {ccf:g} of {CCF_POINTS_NEEDED} needed")
    if worked.pfhd is None:
        lines.append(f"PFHd: {worked.why_not}")
    else:
        band = "" if worked.band is None else f", in the band of {worked.band.letter}"
        figure = two_figures(worked.pfhd.pfhd_per_h)
        lines.append(f"PFHd {figure}/h{band} ({worked.pfhd.column}; {worked.pfhd.source})")
    if worked.iec62061_per_h is not None:
        lines.append(f"IEC 62061: {two_figures(worked.iec62061_per_h)} dangerous failures/h")
    return lines


def against(one: Rated) -> list[str]:
    """What speaks against a claim: in itself, in its figures, in what inserted faults do."""
    lines = [str(conflict) for conflict in one.conflicts]
    if one.level_too_low and one.required is not None:
        lines.append(f"the claimed level is below the required one, {one.required.letter}")
    if one.figure_too_high and one.worked.band is not None:
        lines.append(f"the figure reaches only the band of {one.worked.band.letter}")
    found = [f"claim: {line}" for line in lines]
    return found + [f"inserted faults contradict it: {line}" for line in one.contradicted]


def standing(one: Rated) -> list[str]:
    """How far a claim was held against the model's faults."""
    if not one.judged:
        return ["not held against a model"]
    if one.undecided:
        return [f"undecided: {', '.join(one.undecided)}"]
    if one.contradicted:
        return []
    kept = " ".join(one.function.requirements)
    return [f"inserted faults do not contradict the category ({kept})"]
