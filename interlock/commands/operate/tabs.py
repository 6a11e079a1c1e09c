"""What the tabs of the page show, as plain data for the templates."""

from __future__ import annotations

from typing import Any

from interlock.commands.operate.bench import Bench
from interlock.commands.operate.desk import Desk
from interlock.commands.operate.judging import Job
from interlock.commands.operate.lines import lines_of, told
from interlock.commands.operate.listing import Shown
from interlock.commands.operate.views import groups_of
from interlock.kernel.system import MoveKind, Origin
from interlock.model.build import SCAN
from interlock.telling.templates import as_is

_LINES_SHOWN = 80


def program(desk: Desk) -> dict[str, Any]:
    """The program's lines with values, or the text that is being changed."""
    bench = desk.bench
    scanned = desk.session.here.scanned
    listing = bench.listing
    sheets = []
    for sheet in () if desk.editing else listing.sheets:
        lines = []
        for number in range(1, len(sheet.lines) + 1):
            place = sheet.place(number)
            said = _assigned(listing.assigned(place, scanned), sheet is listing.sheets[0])
            text = as_is(listing.html(sheet, number, scanned))
            lines.append((number, text, said, place in scanned.executed))
        sheets.append((sheet.file, lines))
    return {
        "editing": desk.editing,
        "text": desk.text,
        "mistakes": desk.text_mistakes,
        "sheets": sheets,
        "file": desk.file,
        "changed": desk.changed_files,
        "before_first": not any(entry.move == SCAN for entry in desk.session.made),
    }


def _assigned(values: list[tuple[str, Shown]], is_root: bool) -> list[str]:
    """Values as they stand beside a line, with whose they are where the line does not say it."""
    if is_root and len(values) == 1:
        return [values[0][1].text]
    return [f"{name} {shown.text}" for name, shown in values]


def signals(desk: Desk) -> dict[str, Any]:
    """What each signal tells, what it would tell without a fault, and what a scan would read."""
    bench, state = desk.bench, desk.session.state
    told, healthy, read = bench.signals(state), bench.healthy_signals(state), bench.as_read(state)
    rows = []
    for name, sensor in bench.model.sensors.items():
        value = bench.listing.show(name, told[name])
        true = bench.listing.show(name, healthy[name])
        rows.append(
            {
                "name": name,
                "says": sensor.says,
                "reads": sensor.reads.text,
                "value": value,
                "true": true,
                "lies": told[name] != healthy[name],
                "late": bench.listing.show(name, read[name]) if read[name] != told[name] else None,
                "place": sensor.place.short,
            }
        )
    return {"rows": rows}


def requirements(desk: Desk) -> dict[str, Any]:
    """Each requirement: how it stands in this run, and its verdict where it was judged."""
    job = desk.job()
    first, now = desk.session.violations(), desk.session.here.violated
    rows = []
    for id_, requirement in desk.bench.built.requirements.items():
        judged = desk.served.jobs.judged(desk.task(), id_)
        if id_ in now:
            stands = "violated now"
        elif id_ in first:
            stands = f"violated in step {first[id_]}"
        elif id_ not in desk.bench.watched:
            stands = "no one step shows it"
        else:
            apart = desk.bench.not_counted.get(id_)
            stands = f"kept so far, {apart} apart" if apart else "kept so far"
        rows.append(
            {
                "id": id_,
                "says": requirement.says or id_,
                "hazards": requirement.hazards,
                "survives": requirement.survives,
                "stands": stands,
                "bad": id_ in first,
                "judged": judged,
                "follow": judged is not None and bool(judged.moves),
                "place": _place_of(desk.bench, id_),
                "example": desk.served.jobs.find(desk.example_task(id_)),
            }
        )
    return {"rows": rows, "job": job, "claimed": desk.claimed, "counts": _counts(job)}


def worth_a_look(desk: Desk) -> dict[str, Any]:
    """What no one should overlook, though it is no violation; more of it once all was judged."""
    job = desk.job()
    explored = None if job is None or job.stage != "done" else job.looked
    looked = desk.bench.looked if explored is None else explored
    return {
        "rows": [(f"{one.place.short}:{one.place.column}", one.says) for one in looked.oversights],
        "undecided": looked.undecided,
        "explored": explored is not None,
    }


def _place_of(bench: Bench, id_: str) -> str:
    statement = bench.model.statements.get(id_)
    return "" if statement is None else statement.place.short


def _counts(job: Job | None) -> str:
    if job is None or job.stage != "done":
        return ""
    found: dict[str, int] = {}
    for judged in job.findings.values():
        found[judged.outcome.value] = found.get(judged.outcome.value, 0) + 1
    return ", ".join(f"{number} {word}" for word, number in found.items())


def run(desk: Desk) -> dict[str, Any]:
    """The steps of the run round the present one."""
    session = desk.session
    lines = lines_of(session)
    here = next((n for n, (_, last) in enumerate(lines) if session.position <= last), 0)
    start = max(0, min(here - _LINES_SHOWN // 2, len(lines) - _LINES_SHOWN))
    shown = lines[start : start + _LINES_SHOWN]
    length = len(session.entries)
    return {
        "lines": [told(session, line) for line in shown],
        "position": session.position,
        "length": length,
        "start": shown[0][0] - 1 if shown else 0,
        "end": shown[-1][1] if shown else length,
        "loop_start": session.loop_start,
        "told": session.told,
    }


def faults(desk: Desk) -> dict[str, Any]:
    """The declared faults, and what people might do wrong in the present state."""
    possible = desk.session.possible()
    struck = desk.bench.struck(desk.session.state)
    rows = []
    for id_, fault in desk.bench.model.faults.items():
        strikes, clears = Origin.strike(id_).move_name, Origin.clearing(id_).move_name
        rows.append(
            {
                "id": id_,
                "says": fault.says,
                "struck": id_ in struck,
                "strikes": strikes if strikes in possible else "",
                "clears": clears if clears in possible else "",
                "excluded": fault.excluded,
                "common": fault.common_cause,
            }
        )
    return {
        "rows": rows,
        "n_struck": len(struck),
        "human": list(groups_of(desk, (MoveKind.HUMAN,))),
    }


def sentences(desk: Desk) -> dict[str, Any]:
    """Mistakes in the filled sentence, and what came of those that were judged."""
    rows = []
    for number, sentence in enumerate(desk.sentences):
        job = desk.served.jobs.find(sentence.task)
        judged = desk.verdict_on(sentence)
        rows.append(
            {
                "number": number,
                "words": sentence.words,
                "changed": sentence.changed,
                "job": job,
                "judged": judged,
                "follow": judged is not None and bool(judged.moves),
            }
        )
    return {"rows": rows, "mistakes": desk.sentence_mistakes}


def lessons(desk: Desk) -> dict[str, Any]:
    """The lessons there are, and the one that is open."""
    job = desk.job()
    return {
        "all": list(desk.served.lessons.values()),
        "open": desk.lesson,
        "done": desk.lesson_is_done(),
        "judging": job is not None and job.is_open,
        "changed": desk.is_changed,
    }
