"""The report as one page: every section in its order, complete in itself."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from interlock import __version__
from interlock.base.files import sha256
from interlock.commands.report.dossier import Dossier
from interlock.commands.report.faults import faults_view
from interlock.commands.report.findings_in_words import SIGNS, n_by_state
from interlock.commands.report.names import names_view
from interlock.commands.report.runs import chosen, player_data, run_view, runs_of
from interlock.commands.report.sections import (
    diagrams_view,
    inputs_view,
    matrix_view,
    procedures_view,
    program_view,
    rating_view,
    scope_view,
    worth_a_look_view,
)
from interlock.commands.report.trace import hazard_views, orphans, requirement_rows
from interlock.commands.report.wiring import demands_view
from interlock.judgement.margin import Margin
from interlock.kernel.requirement import Outcome
from interlock.pictures.side_view import SideView
from interlock.telling.templates import as_is, rendered

_STATIC = Path(__file__).with_name("static")
_TEMPLATES = "commands/report/templates"
# Stands for the mark until the page is known; no text of a model keeps such a sign.
_MARK = "\0mark\0"
MARK_DIGITS = 16


def to_html(dossier: Dossier) -> str:
    """The report as HTML: the same bytes for the same dossier."""
    runs = runs_of(dossier)
    shown = chosen(runs)
    rows = requirement_rows(dossier, shown)
    view = SideView(dossier.model)
    given: dict[str, Any] = {
        "model": dossier.model,
        "scope": scope_view(dossier),
        "signs": SIGNS,
        "by_state": n_by_state(dossier),
        "rows": rows,
        "loose": [row for row in rows.values() if not row["hazards"]],
        "hazards": hazard_views(dossier, rows, shown),
        "orphans": orphans(dossier),
        "timed": list(dossier.reaction_times.values()),
        "margins": dossier.margins,
        "nearest": _nearest(dossier.margins),
        "too_long": [id_ for id_, found in dossier.reaction_times.items() if found.exceeds],
        "worth_a_look": worth_a_look_view(dossier),
        "claims": _claims(dossier),
        "faults": faults_view(dossier),
        "shown": [run_view(dossier.model, view, run) for run in shown],
        "n_more": len(runs) - len(shown),
        "demands": demands_view(dossier),
        "matrix": matrix_view(dossier),
        "diagrams": diagrams_view(dossier),
        "procedures": procedures_view(dossier),
        "inputs": inputs_view(dossier),
        "names": names_view(dossier.model),
        "rating": rating_view(dossier),
        "program": program_view(dossier),
    }
    given["sections"] = list(_sections(given))
    script = _script() if shown else ""
    data = player_data(dossier.model, view, shown) if shown else ""
    body = rendered(
        f"{_TEMPLATES}/page.html",
        mark=as_is(_MARK),
        policy=as_is("\0policy\0"),
        style=as_is("\0style\0"),
        script=as_is(script),
        data=as_is(data),
        **given,
    )
    mark = sha256(body)[:MARK_DIGITS]
    style = _style(dossier, mark)
    policy = _policy(style, script)
    return body.replace(_MARK, mark).replace("\0policy\0", policy).replace("\0style\0", style)


def _sections(given: dict[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Id, title and template of each section that has anything to say."""
    for id_, title, is_there in (
        ("scope", "Scope, assumptions, boundary and cautions", True),
        ("summary", "Verdicts in short", True),
        ("trace", "From hazards to evidence", True),
        ("hazards", "Hazard by hazard", True),
        ("requirements", "Requirement by requirement", True),
        ("names", "Names in formulas", True),
        ("reaction", "Time taken" if given["scope"]["time"] else "Reaction times", True),
        ("worth_a_look", "Worth a look", True),
        ("runs", "Runs", True),
        ("faults", "Faults: cut sets, failure modes, fault trees", bool(given["faults"])),
        ("demands", "Causes and effects as demanded", bool(given["demands"])),
        ("matrix", "Cause and effect", bool(given["matrix"])),
        ("diagrams", "Diagrams of the plant", bool(given["diagrams"])),
        ("procedures", "Procedures and operator card", bool(given["procedures"])),
        ("rating", "Claimed safety functions", bool(given["rating"])),
        ("inputs", "Inputs and versions", True),
        ("program", "The controller’s program", bool(given["program"])),
        ("assessor", "The assessor’s remarks and signature", True),
    ):
        if is_there:
            yield id_, title, f"{_TEMPLATES}/{id_}.html"


def _nearest(margins: dict[str, Margin]) -> list[tuple[str, Margin]]:
    """The two that have the least to spare, as a part of what is asked."""

    def to_spare(pair: tuple[str, Margin]) -> float:
        margin = pair[1]
        return abs(margin.taken_ms - margin.allowed_ms) / max(margin.allowed_ms, 1)

    return sorted(margins.items(), key=to_spare)[:2]


def _claims(dossier: Dossier) -> dict[str, list[str]]:
    """The ids of requirements by what the study of faults says of their claims."""
    study = dossier.faults
    if study is None:
        return {}
    found: dict[str, list[str]] = {outcome.value: [] for outcome in Outcome}
    for id_ in study.requirements:
        found[study.claimed(id_).value].append(id_)
    return found


def _script() -> str:
    return (_STATIC / "player.js").read_text(encoding="utf-8")


def _style(dossier: Dossier, mark: str) -> str:
    """The style sheet, with what stands at the edges of each printed page."""
    title = f"{dossier.model.title} (model {dossier.model.name}, interlock {__version__})"
    sheet = (_STATIC / "report.css").read_text(encoding="utf-8")
    edges = (
        f'@top-left {{ content: "{_in_style(title)}"; width: 100% }} '
        f'@bottom-left {{ content: "Report {mark}"; width: 50% }} '
        '@bottom-right { content: "page " counter(page) " of " counter(pages); width: 50% }'
    )
    font = 'font: 7.5pt "Liberation Sans", Arial, "DejaVu Sans", sans-serif; color: #595959;'
    return (
        f"{sheet}@page {{ size: A4; margin: 17mm 14mm 16mm; {font} {edges} }}\n"
        "@page across { size: A4 landscape }\n"
    )


def _in_style(text: str, most: int = 110) -> str:
    """`text` inside a string of a style sheet: all but letters, digits and blanks as numbers."""
    short = text if len(text) <= most else text[: most - 1] + "…"
    return "".join(
        c if c.isascii() and (c.isalnum() or c == " ") else f"\\{ord(c):x} " for c in short
    )


def _policy(style: str, script: str) -> str:
    """What the page may load and run: its own style and script, and nothing else."""
    allowed = f"'{_digest(script)}'" if script else "'none'"
    return (
        f"default-src 'none'; style-src '{_digest(style)}'; script-src {allowed}; "
        "base-uri 'none'; form-action 'none'"
    )


def _digest(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode(
        "ascii"
    )
