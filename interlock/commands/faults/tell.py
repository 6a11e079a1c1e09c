"""How a study of faults is told on a terminal or in a log."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from interlock.commands.faults.fmea import rows_of
from interlock.commands.faults.likelihood import Likelihood, likelihood_of
from interlock.commands.faults.runs import HarmRun
from interlock.commands.faults.study import FaultStudy, order_words
from interlock.independent_judge.story import tell_to_the_end
from interlock.judgement.fault_sets import RequirementSets
from interlock.kernel.requirement import Outcome
from interlock.reliability.diagram import TooLargeError
from interlock.reliability.figures import two_figures
from interlock.telling.counts import counted
from interlock.telling.program import between_told

_STYLE = {Outcome.HOLDS: "green", Outcome.VIOLATED: "bold red", Outcome.UNDECIDED: "yellow"}
SETS_SHOWN = 12
_NOTES = (
    "A minimal set is enough to break the requirement, and no fault of it can be spared. Faults "
    "strike at any moment, in any order, and stay.",
    "An alarm is a red, yellow or blue lamp or a sound that would be off in the same scan without "
    "the faults; a refusal is another output that would be on. Harm is 'detected' if one of them "
    "came in a state before it on every run, else 'dangerous'; what comes together with the harm "
    "is no warning, nor is an output missing whose absence is part of it. A fault that brings "
    "neither is latent. 'Without the faults' is with them gone that instant and the memory as it "
    "is. An alarm or a refusal counts only where a machine without any fault, its machines and "
    "controls in the same places and the scans of power-up behind it, need not show the same; "
    "where none ever has them there, it is asked of all its states. Whether anybody can tell it "
    "from an alarm that comes without a fault now and then is not asked, nor what shows in a "
    "later scan alone.",
    "An effect is what the faults do in the next scan, or to what may happen now. Where there is "
    "none in any state, two runs that do the same are followed, one with the fault, to the first "
    "that differs: 'beside a run without it'. That is read off the engines' model, not replayed.",
    "Figures have at most two digits that mean anything. They say how likely the faults are, not "
    "that harm follows, and they award no performance level.",
    "A claim holds here where no set of so few faults breaks the requirement, also if its premise "
    "never occurs: whether it was put to the test at all, 'verify' tells.",
)


def notes_of(study: FaultStudy) -> tuple[str, ...]:
    """What to know of the figures and words of a study."""
    late = study.judged_in_scans
    if not late:
        return _NOTES
    says = (
        f"A bound in time is judged here in whole scans ({', '.join(late)}). Whether delays of "
        "signals and outputs make a response too late under faults, 'verify' tells."
    )
    return (*_NOTES, says)


def render(study: FaultStudy) -> RenderableType:
    """The whole study: claims, sets and runs, single channels, sensors, effects, figures."""
    parts: list[RenderableType] = [_heading(study), _claims(study)]
    for id_ in study.requirements:
        if study.sets[id_].sets or study.human_sets.get(id_, study.sets[id_]).sets:
            parts += ["", _sets(study, id_)]
    parts += ["", _single_channels(study)]
    if study.options.sensors:
        parts += ["", _sensors(study)]
    if study.effects:
        parts += ["", _fmea(study)]
    figures = _figures(study)
    parts += ["", _summary(study)] if figures is None else ["", figures, "", _summary(study)]
    return Group(*parts)


def _plain_table(*headings: str, wide: Iterable[str] = ()) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for heading in headings:
        table.add_column(heading, ratio=1 if heading in tuple(wide) else None)
    return table


def _title(text: str) -> Text:
    return Text(text, style="bold")


def _heading(study: FaultStudy) -> RenderableType:
    live = study.model.live_faults
    common = sum(fault.common_cause for fault in live)
    words = (
        f"{len(live)} faults, {common} of them common causes; {order_words(study.options.order)}"
    )
    return Group(
        _title(f"{study.model.title}: faults"), Text(words), Text(between_told(study.model)), ""
    )


def _claims(study: FaultStudy) -> RenderableType:
    headings = ("", "requirement", "claims", "claim", "survives", "with common causes", "sets")
    table = _plain_table(*headings, wide=("requirement",))
    for id_, requirement in study.requirements.items():
        found = study.sets[id_]
        outcome = study.claimed(id_)
        table.add_row(
            id_,
            escape(requirement.says),
            str(requirement.survives),
            Text(outcome.value, style=_STYLE[outcome]),
            str(found.without(study.common_causes).tolerance),
            str(found.tolerance),
            _by_order(found),
        )
    return table


def _by_order(found: RequirementSets) -> str:
    if found.limit is not None:
        return f"undecided ({found.limit})"
    counts = [f"{n:,} of {order}" for order, n in enumerate(found.n_by_order) if n]
    return ", ".join(counts) or "none"


def _sets(study: FaultStudy, id_: str) -> RenderableType:
    requirement = study.requirements[id_]
    rows: list[RenderableType] = [_title(f"{id_} {requirement.says}")]
    rows += [Text(f"  {h}: {study.model.hazards[h].says}") for h in requirement.hazards]
    found = study.sets[id_]
    for one in found.sets[:SETS_SHOWN]:
        rows.append(Text(f"  {_set_words(study, id_, one)}"))
    n_more = sum(found.n_by_order) - len(found.sets[:SETS_SHOWN])
    if n_more > 0:
        rows.append(Text(f"  and {n_more:,} more sets", style="italic"))
    if id_ in study.human_sets and study.human_sets[id_].sets:
        rows.append(Text("  only where human errors happen, too:", style="italic"))
        rows += [
            Text(f"  {_set_words(study, id_, one)}")
            for one in study.human_sets[id_].sets[:SETS_SHOWN]
        ]
    for run in study.runs:
        if run.requirement == id_:
            rows.append(_run(study, run))
    return Group(*rows)


def _set_words(study: FaultStudy, id_: str, faults: tuple[str, ...]) -> str:
    if not faults:
        return "{}: no fault is needed"
    told = study.latent_first(faults)
    says = "; ".join(fault_words(study, fault) for fault in told)
    harm = f" [{study.harm(faults[0], id_).value}]" if len(faults) == 1 else ""
    return f"{{{', '.join(told)}}}{harm}: {says}"


def fault_words(study: FaultStudy, fault: str) -> str:
    """What a fault is, marked as a common cause or as latent where it is one."""
    declared = study.model.faults[fault]
    marks = []
    if declared.common_cause:
        marks.append("common cause")
    if fault in study.silent:
        marks.append("latent")
    return declared.says + (f" ({', '.join(marks)})" if marks else "")


def _run(study: FaultStudy, run: HarmRun) -> RenderableType:
    n_steps = len(run.run.happenings)
    order = ", then ".join(run.faults) or "no fault"
    kind = "shortest run" if run.is_near else "run"
    rows: list[RenderableType] = [
        Text(f"  a {kind} with {order}; {counted(n_steps, 'step')}, replayed:")
    ]
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(justify="right", style="dim")
    for _ in range(3):
        table.add_column()
    told_loop = False
    for line in tell_to_the_end(study.model, run.run):
        if line.loop and not told_loop:
            told_loop = True
            table.add_row("", "", Text("from here on for ever:", style="italic"), "")
        changes = escape(", ".join(line.changes))
        table.add_row(str(line.number), line.who, escape(line.says), changes)
    if run.run.loop_start is not None and run.run.loop_start == n_steps:
        table.add_row("", "", Text("and so it stays", style="italic"), "")
    rows.append(Padding(table, (0, 0, 0, 4)))
    if run.human_errors:
        rows.append(Text(f"    human errors on the way: {', '.join(run.human_errors)}"))
    if run.run.note:
        rows.append(Text(f"    {run.run.note}"))
    return Group(*rows)


def _single_channels(study: FaultStudy) -> RenderableType:
    table = _plain_table("fault", "", "breaks alone", wide=("",))
    for id_, fault in study.model.faults.items():
        broken = [r for r, found in study.sets.items() if (id_,) in found.sets]
        if broken:
            told = " ".join(f"{r} ({study.harm(id_, r).value})" for r in broken)
            table.add_row(id_, escape(fault_words(study, fault.id)), told)
    if not table.rows:
        return Text("Single channels: no fault breaks a requirement alone.")
    return Group(_title("Single channels: faults that break a requirement alone"), table)


def _sensors(study: FaultStudy) -> RenderableType:
    title = _title("What a sensor is worth: requirements that survive fewer faults without it")
    if not study.changes:
        return Group(title, Text("  none was found"))
    table = _plain_table(
        "change", "requirement", "survives", "then", "because of", wide=("because of",)
    )
    for change in study.changes:
        for number, loss in enumerate(change.losses):
            by = "; ".join("{" + ", ".join(one) + "}" for one in loss.by[:3])
            more = f" and {len(loss.by) - 3} more" if len(loss.by) > 3 else ""
            table.add_row(
                change.says if number == 0 else "",
                loss.requirement,
                str(loss.before),
                str(loss.after),
                escape(by.replace("{}", "nothing more") + more),
            )
    return Group(title, table)


def _fmea(study: FaultStudy) -> RenderableType:
    table = _plain_table("item", "failure mode", "effect", "alone", "harm", "detected by", "after")
    for row in rows_of(study):
        effect = f"{row.local}; {row.vehicle}" if row.local != row.mode else row.vehicle
        table.add_row(
            row.fault,
            escape(row.mode),
            escape(effect),
            row.breaks,
            row.harm,
            escape(row.detected_by),
            escape(row.after),
        )
    return Group(_title("Failure modes and effects (columns of IEC 60812)"), table)


def _figures(study: FaultStudy) -> RenderableType | None:
    headings = (
        "requirement",
        "probability",
        "rare-event sum",
        "bound",
        "most important",
        "rests on",
    )
    table = _plain_table(*headings, wide=("rests on",))
    for id_ in study.requirements:
        try:
            found = likelihood_of(study, id_)
        except TooLargeError as reason:
            table.add_row(id_, "", "", "", "", f"not worked out: {reason}")
            continue
        if found is not None:
            table.add_row(id_, *_figure_cells(found))
    if not table.row_count:
        return None
    return Group(_title("How likely the sets are, with common causes"), table)


def _figure_cells(found: Likelihood) -> tuple[str, ...]:
    solution = found.solution
    bound = solution.min_cut_upper_bound.value
    ranked = sorted(solution.importance(), key=lambda i: -(i.fussell_vesely.value or 0))
    important = ", ".join(
        f"{i.event.name} {two_figures(i.fussell_vesely.value or 0)}" for i in ranked[:3]
    )
    lacking = f"; no figure: {', '.join(found.without_figure)}" if found.without_figure else ""
    return (
        two_figures(solution.probability),
        two_figures(solution.rare_event_sum),
        "" if bound is None else two_figures(bound),
        important,
        escape("; ".join(found.assumptions) + lacking),
    )


def _summary(study: FaultStudy) -> RenderableType:
    outcomes = [study.claimed(id_) for id_ in study.requirements]
    said = ", ".join(f"{outcomes.count(o)} {o.value}" for o in Outcome if o in outcomes)
    rows: list[RenderableType] = [Text(f"Claims: {said}. {study.seconds:.1f} s.", style="bold")]
    for done in study.explorations:
        limit = f"; cut short: {done.limit}" if done.limit else ""
        rows.append(
            Text(
                f"  {done.says}: {counted(done.n_faults, 'flag')}, {done.n_states:,} states, "
                f"{done.seconds:.1f} s{limit}"
            )
        )
    if study.ineffective:
        ids = ", ".join(fault.id for fault in study.ineffective)
        said = "Alone they break nothing, and no next scan or move shows anything of them"
        rows.append(Text(f"{said}: {ids}.", style="yellow"))
    if study.options.order is not None:
        most = counted(study.options.order, "fault")
        rows.append(Text(f"More than {most} in one run: undecided.", style="yellow"))
    rows += [Text(note) for note in notes_of(study)]
    for title, lines in (
        ("Assumptions", study.model.assumptions),
        ("Cautions", study.model.cautions),
    ):
        if lines:
            rows.append(Text(f"{title}:"))
            rows += [Text(f"  - {line}") for line in lines]
    return Group(*rows)
