"""How a verification is told on a terminal or in a log."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console, Group, RenderableType
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from interlock.base.errors import Place
from interlock.commands.verify.tell_matrix import tell_matrix
from interlock.independent_judge.controllers import is_executed_as_written
from interlock.independent_judge.story import count_untold, tell_to_the_end
from interlock.judgement.detection import Harm
from interlock.judgement.effect_cells import judged_matrix
from interlock.judgement.finding import LEFT_FREE, Finding, Verification
from interlock.judgement.ledger import Ledger
from interlock.kernel.requirement import Outcome
from interlock.model.reaction import ReactionTime
from interlock.oversights.found import NOTHING, Looked, because_of_strict
from interlock.telling.counts import counted
from interlock.telling.ledger import HEADING, heading_of_run, lines_of
from interlock.telling.program import (
    between_told,
    bits_of,
    free_inputs_of,
    left_out_of,
    remembered_by,
)

# Below this many columns the requirements need the room more than the figures of each row do.
WIDE = 110
# So many lines on the program are shown; all stand in the JSON.
_MOST_LEFT = 12
# Words by which a value tried is told to stand for others.
_MANY = (" of ", " among ", " from ", " above ")
STYLE = {Outcome.HOLDS: "green", Outcome.VIOLATED: "bold red", Outcome.UNDECIDED: "yellow"}
# Never colour alone: each verdict is a word, too.
_LEGEND = (
    "'holds' means: everything reachable in this model, in this run class and under its "
    "assumptions, was explored and no violation was found. It is no statement about the vehicle."
)
_HARM = {
    Harm.HARMLESS: "no run of this class breaks it",
    Harm.DETECTED: "on every run to it an alarm or a refusal comes in a state before it",
    Harm.DANGEROUS: "some run reaches it before any alarm or refusal, or together with the first",
}


def render(
    verification: Verification,
    width: int = WIDE,
    looked: Looked = NOTHING,
    by_strict: bool = False,
    ledger: Ledger | None = None,
) -> RenderableType:
    """The whole result: heading, table, the run of each violation, what it rests on.

    Parameters
    ----------
    verification : Verification
    width : int
        Columns that there are; with fewer than `WIDE` the figures stand in a line of their own.
    looked : Looked
    by_strict : bool
        Whether ``--strict`` alone decides the exit code, which is told.
    ledger : Ledger or None
        Which verdicts fall under a weaker assumption between two scans, where that was asked.
    """
    parts: list[RenderableType] = [_heading(verification), _table(verification, width >= WIDE)]
    if width < WIDE:
        parts.append(_figures(verification))
    for finding in verification.findings:
        if finding.outcome is Outcome.VIOLATED:
            parts += ["", violation(verification, finding)]
    judged = judged_matrix(verification)
    if judged is not None:
        parts += ["", tell_matrix(judged, width)]
    margins = [(f.requirement.id, f.margin) for f in verification.findings if f.margin is not None]
    if margins:
        parts += ["", Text("Time taken on any run", style="bold")]
        parts += [_below(f"{id_}: {margin.says}") for id_, margin in margins]
    timed = verification.reaction_times
    if timed:
        parts += ["", _reaction_times(timed)]
    if looked != NOTHING:
        parts += ["", _worth_a_look(looked, by_strict)]
    parts += [] if ledger is None else _leaning(ledger)
    parts += _left_free(verification)
    parts += _about_the_program(verification)
    parts += ["", _summary(verification)]
    return Group(*parts)


def write(
    console: Console,
    verification: Verification,
    looked: Looked = NOTHING,
    by_strict: bool = False,
    ledger: Ledger | None = None,
) -> None:
    """Print the result; parameters as for `render`."""
    console.print(render(verification, console.width, looked, by_strict, ledger))


def _heading(verification: Verification) -> RenderableType:
    model = verification.built.model
    explored = verification.exploration
    rows: list[RenderableType] = [
        Text(model.title, style="bold"),
        Text(f"{_classes(verification)}; {between_told(model)}; engine {explored.engine}"),
        "",
    ]
    return Group(*rows)


def _classes(verification: Verification) -> str:
    said = [run_class.says for run_class in verification.classes]
    if len(said) == 1:
        return said[0]
    return f"{said[0]}; then, where a requirement claims to survive it, {' and '.join(said[1:])}"


def _table(verification: Verification, with_figures: bool) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    table.add_column("", no_wrap=True)
    table.add_column("requirement", ratio=1)
    for heading in ("verdict", "hazards", "faults"):
        table.add_column(heading)
    for heading in ("premise", "states", "depth", "time") if with_figures else ("premise",):
        table.add_column(heading, justify="right", no_wrap=True)
    for finding in verification.findings:
        verdict = finding.verdict
        figures = (
            f"{verdict.n_states:,}",
            "" if verdict.depth is None else str(verdict.depth),
            f"{verdict.seconds:.1f} s",
        )
        table.add_row(
            finding.requirement.id,
            escape(finding.requirement.says),
            _verdict(finding),
            " ".join(finding.requirement.hazards),
            _faults(finding),
            f"{verdict.n_premise:,}",
            *(figures if with_figures else ()),
        )
    return table


def _figures(verification: Verification) -> Text:
    """Of all requirements together, what a wide table says of each."""
    verdicts = [finding.verdict for finding in verification.findings]
    states = sorted({verdict.n_states for verdict in verdicts})
    depths = sorted({verdict.depth for verdict in verdicts if verdict.depth is not None})
    said = [f"{_span(found)} {name}" for found, name in ((states, "states"), (depths, "deep"))]
    return Text(f"each judged over {', '.join(said if depths else said[:1])}", style="dim")


def _span(numbers: Sequence[int]) -> str:
    ends = dict.fromkeys((numbers[0], numbers[-1])) if numbers else (0,)
    return " to ".join(f"{number:,}" for number in ends)


def _faults(finding: Finding) -> str:
    at_most = finding.run_class.at_most
    if not finding.run_class.faults or at_most == 0:
        return "none"
    words = "any" if at_most is None else f"any {at_most}"
    return words if finding.harm is None else f"{words}: {finding.harm.value}"


def _verdict(finding: Finding) -> Text:
    return Text(finding.says, style=STYLE[finding.outcome])


def violation(verification: Verification, finding: Finding) -> RenderableType:
    """The run of one violated requirement, step by step, or by how much it is too late."""
    model = verification.built.model
    run = finding.run
    heading = Text(f"{finding.requirement.id} violated: ", style="bold red")
    heading.append(finding.requirement.says, style="bold")
    rows: list[RenderableType] = [heading]
    rows += [_below(f"{h}: {model.hazards[h].says}") for h in finding.requirement.hazards]
    if finding.harm is not None:
        rows.append(_below(f"{finding.harm.value}: {_HARM[finding.harm]}"))
    if run is None:
        return Group(*rows, _below(finding.why(model)))
    n_steps = len(run.happenings)
    length = counted(n_steps, "step") if n_steps else "none but power-up"
    rows.append(_below(f"a shortest run, {length}, replayed on the model:"))
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(justify="right", style="dim", no_wrap=True)
    table.add_column(no_wrap=True)
    for ratio in (4, 4, 3):
        # A place in the program that is cut off would be no place.
        table.add_column(ratio=ratio, overflow="fold")
    told_loop = False
    for line in tell_to_the_end(model, run):
        if line.loop and not told_loop:
            told_loop = True
            table.add_row("", "", Text("from here on for ever:", style="italic"), "", "")
        table.add_row(
            str(line.number),
            line.who,
            escape(line.says),
            escape(", ".join(line.changes)),
            escape(_places(line.decided)),
        )
    if run.loop_start is not None and run.loop_start == n_steps:
        table.add_row("", "", Text("and so it stays", style="italic"), "", "")
    rows.append(Padding(table, (0, 0, 0, 2)))
    if n_untold := count_untold(model, run):
        change = "changes" if n_untold == 1 else "change"
        rows.append(
            _below(f"not listed: {counted(n_untold, 'scan')} that {change} nothing to be seen")
        )
    if run.note:
        rows.append(_below(run.note))
    return Group(*rows)


def _leaning(ledger: Ledger) -> list[RenderableType]:
    """What falls under a weaker assumption, each with its run; the exit code heeds none of it."""
    rows: list[RenderableType] = ["", Text(HEADING, style="bold")]
    rows += [_below(line) for line in lines_of(ledger)]
    for one in ledger.every:
        if one.leans and one.judged is not None and one.found is not None:
            rows += ["", Text(heading_of_run(one))]
            rows.append(violation(one.judged, one.found))
    return rows


def _below(line: str) -> Padding:
    """A line that belongs to the one above it, indented wherever it is broken."""
    return Padding(Text(line), (0, 0, 0, 2), expand=False)


def _places(decided: tuple[Place, ...]) -> str:
    """``controller.st:12,14`` for several lines of one file; what is drawn one by one."""
    lines: dict[str, list[int]] = {}
    for place in decided:
        if not place.element:
            lines.setdefault(place.file_name, []).append(place.line)
    told = [f"{file}:{','.join(map(str, sorted(numbers)))}" for file, numbers in lines.items()]
    return " ".join([*told, *(place.short for place in decided if place.element)])


def _reaction_times(timed: Sequence[ReactionTime]) -> RenderableType:
    """Where the time goes between each event and its effect, in the worst case."""
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for heading in ("", "allowed"):
        table.add_column(heading)
    for heading in ("filter", "+ wait", "+ program", "+ effect", "= at most"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("")
    for found in timed:
        table.add_row(
            found.requirement,
            found.bound.says,
            f"{found.filter.ms:g} ms",
            f"{found.wait_ms} ms",
            f"{found.scans} × {found.scan_ms} ms",
            f"{found.effect.ms:g} ms",
            f"{found.total_ms:g} ms",
            Text("too long", style="bold red") if found.exceeds else "",
        )
    rows: list[RenderableType] = [Text("Reaction times in the worst case", style="bold"), table]
    rows += [_below(line) for line in _rests_on(timed)]
    return Group(*rows)


def _rests_on(timed: Sequence[ReactionTime]) -> list[str]:
    """What the figures are and where they come from."""
    lines = [
        "wait: an event may come just after the inputs were latched; program: the most scans "
        "between event and response that occur in the explored runs. A bound in time is judged "
        "in whole scans, rounded down."
    ]
    shares = [share for found in timed for share in (found.filter, found.effect)]
    for share in dict.fromkeys(share for share in shares if share.name):
        words = [share.source, "assumed" if share.assumed else None]
        lines.append(f"{share.name} {share.ms:g} ms: {'; '.join(w for w in words if w)}")
    unknown = sorted({name for share in shares for name in share.unknown})
    if unknown:
        lines.append(f"no delay given, counted as 0: {_some(unknown)}")
    return list(dict.fromkeys(lines))


def _some(names: Sequence[str], most: int = 8) -> str:
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")


def _untested(verification: Verification) -> list[RenderableType]:
    """What was never put to the test and why, those with the same reason in one line."""
    by_reason: dict[str, list[str]] = {}
    for finding in verification.findings:
        if finding.verdict.vacuous:
            why = finding.why(verification.built.model)
            by_reason.setdefault(why, []).append(finding.requirement.id)
    return [
        Text(f"Vacuous, never put to the test: {', '.join(ids)}: {why}.", style="yellow")
        for why, ids in by_reason.items()
    ]


def _worth_a_look(looked: Looked, by_strict: bool) -> RenderableType:
    """What is no violation and yet no one should overlook, each with its place."""
    rows: list[RenderableType] = [Text("Worth a look", style="bold")]
    rows += [_below(f"{oversight}.") for oversight in looked.oversights]
    rows += [_below(f"{line}.") for line in looked.undecided]
    if by_strict:
        rows.append(Text(because_of_strict(looked), style="bold"))
    elif looked.oversights:
        rows.append(_below("None of this is a violation or decides the exit code."))
    return Group(*rows)


def _left_free(verification: Verification) -> list[RenderableType]:
    """Which requirements were judged with durations left free; nothing where none was."""
    if not verification.left_free:
        return []
    rows: list[RenderableType] = ["", Text("Durations left free", style="bold")]
    rows += [_below(line) for line in (*verification.left_free, LEFT_FREE)]
    return rows


def _about_the_program(verification: Verification) -> list[RenderableType]:
    """What was free and what was left out of the program; nothing where there is neither."""
    model = verification.built.model
    free, left = free_inputs_of(model), left_out_of(model)
    if not free and not left:
        return []
    rows: list[RenderableType] = ["", Text("What this rests on", style="bold")]
    if free:
        names = ", ".join(one.name for one in free)
        rows.append(_below(f"Free, any value in any scan, no sensor being given: {names}."))
    rows += [
        _below(f"{one.name} was tried at: {'; '.join(one.values)}.")
        for one in free
        if any(word in f" {value}" for value in one.values for word in _MANY)
    ]
    remembered = remembered_by(model, verification.built.system)
    if remembered:
        names = ", ".join(name for name, _ in remembered[:_MOST_LEFT])
        more = len(remembered) - _MOST_LEFT
        names += f" and {more} more" if more > 0 else ""
        n_bits = bits_of(remembered)
        size = "1 bit" if n_bits == 1 else f"{n_bits} bits"
        rows.append(_below(f"Remembered from scan to scan, {size}: {names}."))
    if is_executed_as_written(model):
        rows.append(_below("Runs were replayed on the text of the program itself."))
    rows += [_below(f"{line}.") for line in left[:_MOST_LEFT]]
    if len(left) > _MOST_LEFT:
        rows.append(_below(f"{len(left) - _MOST_LEFT} more such lines stand in the JSON."))
    return rows


def _summary(verification: Verification) -> RenderableType:
    explored = verification.exploration
    said = f"{verification.counts}. {explored.n_states:,} states, {verification.seconds:.1f} s."
    rows: list[RenderableType] = [Text(said, style="bold")]
    rows += _untested(verification)
    if explored.limit is not None:
        rows.append(Text(f"Exploration was cut short: {explored.limit}.", style="yellow"))
    rows.append(Text(_LEGEND))
    model = verification.built.model
    for title, lines in (("Assumptions", model.assumptions), ("Cautions", model.cautions)):
        if lines:
            rows.append(Text(f"{title}:"))
            rows += [_below(f"- {line}") for line in lines]
    return Group(*rows)
