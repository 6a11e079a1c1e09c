"""How a rating is told on a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from interlock.commands.rating.figures import (
    ChannelFigures,
    Combination,
    Rate,
    replaced_after,
    years_of,
)
from interlock.commands.rating.file import Part, Rating, SafetyFunction, Subsystem, Voted
from interlock.commands.rating.study import Rated
from interlock.reliability.category import TESTS_PER_DEMAND_NEEDED, DeclaredTest
from interlock.reliability.channel import CCF_POINTS_NEEDED, MISSION_YEARS
from interlock.reliability.figures import kept_apart, percent, two_figures
from interlock.reliability.performance_level import COVERAGE_PERCENT, MTTFD_YEARS, Category

NOTES = (
    "No performance level is awarded here. Nor is a SIL: either takes software, systematic "
    "failures, validation and an assessor. Bands tell where a claimed figure falls.",
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
    rows: list[RenderableType] = [
        Text(f"{function.id} {function.says}", style="bold"),
        Text(f"  risk graph: {required(one)}; claimed: {claimed(function)}"),
    ]
    if function.channels:
        rows.append(_parts(function))
    rows += [Text(f"  {line}") for line in figures(one)]
    rows += [Text(f"  {line}", style="bold red") for line in against(one)]
    open_ = "yellow" if one.undecided else ""
    rows += [Text(f"  {line}", style=open_) for line in standing(one)]
    return Group(*rows)


def _parts(function: SafetyFunction) -> RenderableType:
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for heading in ("  channel", "part", "count", "MTTFd, years", "DC", "from"):
        table.add_column(heading)
    for name, part in parts_of(function):
        cells = (escape(part.says), str(part.count), two_figures(years_of(part)), percent(part.dc))
        table.add_row(f"  {name}", *cells, escape(origin(part)))
    return table


def parts_of(function: SafetyFunction) -> Iterator[tuple[str, Part]]:
    """Every part of a function with the channel it is in: a number, or 'test'."""
    for number, parts in enumerate(function.channels, 1):
        for part in parts:
            yield str(number), part
    if function.test is not None:
        for part in function.test.parts:
            yield "test", part


def origin(part: Part) -> str:
    """Where a part's figure comes from; 'assumed' wherever it is."""
    words = _from(part.source, part.assumed)
    if part.b10d_cycles is None or part.n_per_year is None:
        return words
    cycles = f"B10d {two_figures(part.b10d_cycles)} at {two_figures(part.n_per_year)} a year"
    return f"{cycles}, {words}"


def _from(source: str, assumed: bool) -> str:
    return ", ".join([*([source] if source else []), *(["assumed"] if assumed else [])])


def claimed(function: SafetyFunction) -> str:
    """What is claimed for a function, in words."""
    words = []
    if function.category is not None:
        words.append(f"category {function.category.value}")
    if function.level is not None:
        words.append(f"level {function.level.letter}")
    if function.sil is not None:
        words.append(f"SIL {function.sil}")
    return ", ".join(words) or "nothing"


def required(one: Rated) -> str:
    """What the risk asks for, in words."""
    words = "not given" if one.required is None else f"PLr {one.required.letter}"
    if one.function.sil_risk is None:
        return words
    sil = "no SIL is asked for" if one.required_sil is None else f"SIL {one.required_sil}"
    return f"{words}; SIL assignment: {sil}"


def figures(one: Rated) -> list[str]:
    """What the arithmetic makes of a function's claims, in lines."""
    function, worked = one.function, one.worked
    lines = [] if worked.channels is None else _of_channels(worked.channels)
    if function.bands is not None:
        mttfd, coverage = function.bands.mttfd.name.lower(), function.bands.coverage.name.lower()
        lines.append(f"MTTFd of a channel is claimed as {mttfd}, DCavg as {coverage}")
    lines += _of_common_cause(function)
    if worked.channels is not None:
        lines.append(_of_pfhd(worked.channels))
    if worked.simplified is not None:
        level = worked.simplified.level
        said = worked.simplified.why_not if level is None else f"level {level.letter}"
        lines.append(f"simplified procedure: {said}")
    lines += _of_wear(function)
    if worked.test is not None:
        lines.append(_of_test(worked.test, worked.channels))
    if worked.series is not None:
        lines.append(_of_series(function, worked.series))
    if worked.iec62061 is not None and function.subsystem is not None:
        lines.append(_of_subsystem(function.subsystem, worked.iec62061))
    if worked.iec61508 is not None and function.voted is not None:
        lines.append(_of_voted(function.voted, worked.iec61508))
    return lines


def _of_channels(channels: ChannelFigures) -> list[str]:
    pfhd = channels.pfhd
    ahead = [] if pfhd is None or pfhd.next_row_years is None else [pfhd.next_row_years]
    years = kept_apart(channels.mttfd_years, [*MTTFD_YEARS.values(), *ahead])
    dc = percent(channels.dc_avg, COVERAGE_PERCENT.values())
    return [
        f"MTTFd of a channel {years} years; DCavg {dc} ({channels.coverage.name.lower()})",
    ]


def _of_common_cause(function: SafetyFunction) -> list[str]:
    if function.ccf_points is not None:
        points = f"{function.ccf_points:g} of {CCF_POINTS_NEEDED} needed"
        return [f"points against common cause: {points}"]
    if function.category in (Category.TWO, Category.THREE, Category.FOUR):
        return [f"points against common cause: not given, {CCF_POINTS_NEEDED} needed"]
    return []


def _of_pfhd(channels: ChannelFigures) -> str:
    pfhd = channels.pfhd
    if pfhd is None:
        return f"PFHd: {channels.why_not}"
    band = "" if channels.band is None else f", in the band of {channels.band.letter}"
    row = f"row of {pfhd.row_years:g} years"
    if pfhd.next_row_years is not None:
        row += f", the next is {pfhd.next_row_years:g}"
    figure = two_figures(pfhd.pfhd_per_h)
    return f"PFHd {figure}/h{band} ({pfhd.column}, {row}; {pfhd.source})"


def _of_wear(function: SafetyFunction) -> list[str]:
    """Parts that are to be replaced within the mission time."""
    worn = {part.says: replaced_after(part) for _, part in parts_of(function)}
    return [
        f"{says}: T10d {kept_apart(years, [MISSION_YEARS])} years, to be replaced by then "
        f"(mission time {MISSION_YEARS} years)"
        for says, years in worn.items()
        if years is not None
    ]


def _of_test(test: DeclaredTest, channels: ChannelFigures | None) -> str:
    rate = kept_apart(test.tests_per_demand, [TESTS_PER_DEMAND_NEEDED])
    said = f"test equipment: {rate} tests for each demand, MTTFd {two_figures(test.mttfd_years)} "
    not_compared = " (not compared: that of the channel is not given as a figure)"
    return f"{said}years{not_compared if channels is None else ''}"


def _of_series(function: SafetyFunction, series: Combination) -> str:
    words = [] if series.own is None else [f"own channels {series.own.letter}"]
    for one in function.series:
        count = f"{one.count} × " if one.count > 1 else ""
        origin_ = _from(one.source, one.assumed)
        words.append(f"{count}{one.says} {one.level.letter} ({origin_})")
    reached = "no level" if series.level is None else f"level {series.level.letter}"
    limit = f" at most: {series.why_not}" if series.why_not else ""
    return f"in series, by levels alone: {', '.join(words)}; together {reached}{limit}"


def _of_subsystem(subsystem: Subsystem, rate: Rate) -> str:
    said = f"IEC 62061: {two_figures(rate.per_h)} dangerous failures/h, {_in_band(rate.sil)}"
    if subsystem.architecture in "AC":
        return f"{said} (architecture {subsystem.architecture})"
    beta = f"beta {percent(subsystem.beta)}, {subsystem.beta_from}"
    return f"{said} (architecture {subsystem.architecture}; {beta})"


def _of_voted(voted: Voted, rate: Rate) -> str:
    channel = voted.channel
    on_demand = "" if rate.on_demand is None else f"PFD {two_figures(rate.on_demand)}, "
    return (
        f"IEC 61508-6, {voted.voting}: {on_demand}PFH {two_figures(rate.per_h)}/h; "
        f"{_in_band(rate.sil)} at {voted.demand} demand ({two_figures(channel.rate_per_h)}/h, "
        f"DC {percent(channel.dc)}, beta {percent(channel.beta)}; "
        f"{_from(voted.source, voted.assumed)})"
    )


def _in_band(sil: int | None) -> str:
    return "in no band of a SIL" if sil is None else f"in the band of SIL {sil}"


def against(one: Rated) -> list[str]:
    """What speaks against a claim: in itself, in its figures, in what inserted faults do."""
    lines = [*(str(conflict) for conflict in one.conflicts), *one.shortfalls]
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
    if one.function.category is None:
        return [f"no category is claimed; without any fault the function is kept ({kept})"]
    return [f"inserted faults do not contradict the category ({kept})"]
