"""The failure mode and effects table, with the columns of IEC 60812: rows, CSV, HTML fragment.

Source of the columns: IEC 60812:2018 leaves them to the plan of the analysis; these are the ones
of its examples (from memory): item, failure mode, local effect, effect at the higher level,
detection, failure rate, remarks.
"""

from __future__ import annotations

import csv
import html
import io
from collections.abc import Iterable, Sequence
from dataclasses import astuple, dataclass, fields

from interlock.base.visible import made_visible
from interlock.commands.faults.likelihood import source_of
from interlock.commands.faults.study import FaultStudy
from interlock.judgement.detection import Harm, Telling
from interlock.judgement.effects import FaultEffects
from interlock.judgement.single_fault import Showing
from interlock.model.fault import Fault
from interlock.reliability.figures import two_figures

HEADINGS = {
    "fault": "item",
    "mode": "failure mode",
    "local": "local effect",
    "vehicle": "effect on the vehicle",
    "breaks": "breaks alone",
    "weakens": "breaks with others",
    "harm": "harm",
    "detected_by": "detected by",
    "after": "after",
    "rate": "figure",
    "source": "source",
}

# With fewer words a row can still be read on a terminal; files have them all.
SHOWN_IN_A_CELL = 4


@dataclass(frozen=True)
class Row:
    """One failure mode.

    Attributes
    ----------
    breaks, weakens : str
        Requirements that it breaks alone; those that it breaks only together with others.
    harm : str
        'dangerous' where it breaks something on some run in silence, else 'detected' where it
        breaks something, else 'harmless'.
    detected_by : str
        The outputs that tell of it, or 'latent'.
    after : str
        What happens right before it can first be told.
    """

    fault: str
    mode: str
    local: str
    vehicle: str
    breaks: str
    weakens: str
    harm: str
    detected_by: str
    after: str
    rate: str
    source: str


def rows_of(study: FaultStudy) -> list[Row]:
    """A row for each live fault, in the order of the model; excluded ones say why."""
    by_fault = {found.fault.id: found for found in study.effects}
    rows = []
    for fault in study.model.faults.values():
        if fault.excluded is not None:
            rows.append(_excluded(fault))
        elif fault.id in by_fault:
            rows.append(_row(study, by_fault[fault.id]))
    return rows


def _excluded(fault: Fault) -> Row:
    reason = f"excluded: {fault.excluded}"
    return Row(fault.id, fault.says, reason, "", "", "", "excluded", "", "", *_figure(fault))


def _row(study: FaultStudy, found: FaultEffects) -> Row:
    fault = found.fault
    alone, with_others = touched(study, fault.id)
    showing = study.showings.get(fault.id)
    return Row(
        fault=fault.id,
        mode=fault.says,
        local="; ".join(found.reads),
        vehicle="; ".join(vehicle_effects(study, found)) or _beside(study, fault.id),
        breaks=" ".join(alone),
        weakens=" ".join(with_others),
        harm=overall_harm(study, fault.id, alone).value,
        detected_by=detection(found) + _unconfirmed(showing),
        after="" if showing is None else showing.event,
        rate=_figure(fault)[0],
        source=_figure(fault)[1],
    )


def touched(study: FaultStudy, fault: str) -> tuple[list[str], list[str]]:
    """Requirements that a fault breaks alone, and those that need it together with others."""
    alone, with_others = [], []
    for id_, found in study.sets.items():
        if (fault,) in found.sets:
            alone.append(id_)
        elif any(fault in one for one in found.sets):
            with_others.append(id_)
    return alone, with_others


def overall_harm(study: FaultStudy, fault: str, alone: Iterable[str]) -> Harm:
    """The worst that a fault does alone."""
    harms = {study.harm(fault, id_) for id_ in alone}
    for harm in (Harm.DANGEROUS, Harm.DETECTED):
        if harm in harms:
            return harm
    return Harm.HARMLESS


def detection(found: FaultEffects) -> str:
    """What tells of a fault, or that nothing does."""
    if found.telling is Telling.ALARM:
        return f"alarm: {_listed(found.warnings)} on"
    if found.telling is Telling.REFUSAL:
        return f"refusal: {_listed(found.refusals)} stays off"
    return "latent"


def _unconfirmed(showing: Showing | None) -> str:
    """What of a showing no run without a fault was replayed for."""
    if showing is None or showing.is_confirmed:
        return ""
    return "; that it need not be so without a fault in the same places was not replayed"


def vehicle_effects(study: FaultStudy, found: FaultEffects) -> Iterable[str]:
    """What a fault makes of outputs and of the plant, in words."""
    says = {name: output.says or name for name, output in study.model.outputs.items()}
    moves = {move.name: move.says or move.name for move in study.model.moves}
    if found.outputs_on:
        yield f"on: {_listed([says[name] for name in found.outputs_on])}"
    if found.outputs_off:
        yield f"withheld: {_listed([says[name] for name in found.outputs_off])}"
    if found.enables:
        yield f"lets happen: {_listed(_spoken(found.enables, moves))}"
    if found.prevents:
        yield f"prevents: {_listed(_spoken(found.prevents, moves))}"
    if found.darkened:
        yield f"dark: {_listed(found.darkened)}"
    if found.muted:
        yield f"silent: {_listed(found.muted)}"
    if found.usual:
        yield f"on, as it is without a fault: {_listed(found.usual)}"


def _beside(study: FaultStudy, fault: str) -> str:
    """What is seen of a fault that does nothing in the next scan."""
    none, seen = "none in the next scan", study.beside.get(fault)
    if seen is None:
        return none
    says = {name: output.says or name for name, output in study.model.outputs.items()}
    moves = {move.name: move.says or move.name for move in study.model.moves}
    parts = {
        "on": [says[name] for name in seen.on],
        "off": [says[name] for name in seen.off],
        "elsewhere": seen.elsewhere,
        "lets happen": _spoken(seen.enables, moves),
        "prevents": _spoken(seen.prevents, moves),
    }
    told = [f"{what} {_listed(names)}" for what, names in parts.items() if names]
    if seen.undecided:
        told.append(f"{'more ' if told else ''}undecided, {seen.undecided}")
    return f"{none}; beside a run without it: {', '.join(told) or 'none'}"


def _spoken(names: Iterable[str], moves: dict[str, str]) -> list[str]:
    return list(dict.fromkeys(moves.get(name, name) for name in names))


def _listed(words: Sequence[str]) -> str:
    shown = ", ".join(words[:SHOWN_IN_A_CELL])
    n_more = len(words) - SHOWN_IN_A_CELL
    return f"{shown} and {n_more} more" if n_more > 0 else shown


def _figure(fault: Fault) -> tuple[str, str]:
    if fault.rate is not None:
        text = f"{two_figures(fault.rate)}/h"
        if fault.exposure_h is not None:
            text += f" for {two_figures(fault.exposure_h)} h"
        return text, source_of(fault)
    if fault.probability is not None:
        return two_figures(fault.probability), source_of(fault)
    return "", source_of(fault)


def to_csv(rows: Iterable[Row]) -> str:
    """The table as CSV (RFC 4180, with line feeds).

    A cell that a spreadsheet would take for a formula is led by an apostrophe.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([HEADINGS[field.name] for field in fields(Row)])
    for row in rows:
        writer.writerow([plain_cell(cell) for cell in astuple(row)])
    return stream.getvalue()


def plain_cell(text: str) -> str:
    """`text` so that a spreadsheet shows it and computes nothing."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def to_html(rows: Iterable[Row]) -> str:
    """The table as an HTML fragment, every text escaped."""
    head = "".join(f'<th scope="col">{html.escape(word)}</th>' for word in HEADINGS.values())
    lines = [f'<table class="fmea"><thead><tr>{head}</tr></thead>', "<tbody>"]
    for row in rows:
        name, *cells = (html.escape(made_visible(cell)) for cell in astuple(row))
        body = "".join(f"<td>{cell}</td>" for cell in cells)
        lines.append(f'<tr><th scope="row">{name}</th>{body}</tr>')
    return "\n".join([*lines, "</tbody></table>"]) + "\n"
