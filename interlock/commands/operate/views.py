"""What the page always shows, as plain data for the templates."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from interlock.commands.operate.desk import Desk
from interlock.commands.operate.lines import lines_of, told
from interlock.commands.operate.session import Refusal
from interlock.commands.rehearse.why import Reason
from interlock.independent_judge.story import WHO
from interlock.kernel.system import MoveKind
from interlock.model.build import SCAN
from interlock.model.model import ModelMove
from interlock.model.timing import TICK
from interlock.telling.templates import as_is

_NETWORKS_SHOWN = 3
_REASONS_SHOWN = 3
_PERSONS = (MoveKind.OPERATOR, MoveKind.DRIVER)


@dataclass(frozen=True)
class MoveView:
    """A move that starts from the present state, possible or not."""

    name: str
    says: str
    who: str
    possible: bool


def status(desk: Desk) -> dict[str, Any]:
    """Where one stands in the run, and what happened last."""
    session = desk.session
    return {
        "position": session.position,
        "length": len(session.entries),
        "last": _last(desk),
        "time": session.time_at(session.position),
        "told": session.told,
        "loop_start": session.loop_start,
        "at_end": session.position == len(session.entries),
        "by_itself": session.by_itself,
        "scan_follows": session.scan_follows,
        "at_rest": session.is_at_rest,
        "full": session.is_full,
        "notice": desk.notice,
        "bench": desk.bench.model.title if desk.lesson or desk.is_changed else "",
        "changed": desk.is_changed,
    }


def _last(desk: Desk) -> dict[str, Any] | None:
    """The line that led here, as far as it was made."""
    session = desk.session
    begun = [first for first, _ in lines_of(session) if first <= session.position]
    return told(session, (begun[-1], session.position)) if begun else None


def alarm(desk: Desk) -> dict[str, Any]:
    """What is violated now, and what was before."""
    session, bench = desk.session, desk.bench
    first = session.violations()
    struck = bench.struck(session.state)
    waiting = desk.unconfirmed()

    def of(id_: str) -> dict[str, Any]:
        requirement = bench.built.requirements[id_]
        return {
            "id": id_,
            "says": requirement.says or id_,
            "hazards": [bench.model.hazards[h].says for h in requirement.hazards],
            "step": first[id_],
            "claim": requirement.survives,
            "struck": len(struck),
            "confirmed": id_ not in waiting,
        }

    erred = any(bench.system.move(entry.move).kind is MoveKind.HUMAN for entry in session.made)
    now = [of(id_) for id_ in sorted(session.here.violated)]
    before = [of(id_) for id_ in first if id_ not in session.here.violated]
    return {"now": now, "before": before, "erred": erred}


def picture(desk: Desk) -> dict[str, Any]:
    """Address of the side view, and the state in words."""
    bench, state = desk.bench, desk.session.state
    rows = [
        {"name": name, "says": machine.says, "state": bench.label(state, name)}
        for name, machine in bench.model.machines.items()
        if not machine.is_control
    ]
    return {
        "address": f"picture/{bench.key}/{bench.picture_address(state)}.svg",
        "words": ". ".join(bench.side_view.words(bench.seen(state))),
        "rows": rows,
    }


def lamps(desk: Desk) -> dict[str, Any]:
    """Lamps and sounders, and the other outputs, as they really are."""
    bench = desk.bench
    values = bench.truth(desk.session.state)
    lit: list[dict[str, Any]] = []
    others: list[dict[str, Any]] = []
    for name, output in bench.model.outputs.items():
        row = {
            "name": name,
            "says": output.says,
            "value": bench.show(name, values[name]),
            "on": bool(values[name]),
            "colour": output.lamp,
            "sounds": output.sounds,
        }
        (lit if output.lamp or output.sounds else others).append(row)
    return {"lamps": lit, "others": others}


def controls(desk: Desk) -> dict[str, Any]:
    """Buttons to hold, and levers and keys to set."""
    bench, state = desk.bench, desk.session.state
    held: list[dict[str, Any]] = []
    levers: list[dict[str, Any]] = []
    for name, machine in bench.model.machines.items():
        if not machine.is_control:
            continue
        at = bench.value(state, name)
        positions = [
            {"number": number, "label": label, "on": number == at}
            for number, label in enumerate(machine.states)
            if number != machine.released
        ]
        row = {
            "name": name,
            "says": machine.says or name,
            "at": machine.states[at],
            "positions": positions,
            "single": machine.is_bool,
        }
        (levers if machine.released is None else held).append(row)
    return {"held": held, "levers": levers, "by_itself": desk.session.by_itself}


def people(desk: Desk) -> dict[str, Any]:
    """What operator and driver can do to each machine in its present state."""
    return {"groups": list(groups_of(desk, _PERSONS))}


def groups_of(desk: Desk, kinds: tuple[MoveKind, ...]) -> Iterator[dict[str, Any]]:
    """The moves of some people out of the present state, by machine."""
    bench, state = desk.bench, desk.session.state
    possible = desk.session.possible()
    by_machine: dict[str, list[ModelMove]] = {}
    for move in bench.model.moves:
        machine = bench.model.machines[move.machine]
        here = move.source == bench.value(state, move.machine)
        if move.kind in kinds and not machine.is_control and here:
            by_machine.setdefault(move.machine, []).append(move)
    for name, moves in by_machine.items():
        machine = bench.model.machines[name]
        yield {
            "name": name,
            "says": machine.says or name,
            "state": bench.label(state, name),
            "moves": [_move(move, possible) for move in moves],
        }


def _move(move: ModelMove, possible: dict[str, MoveKind]) -> MoveView:
    return MoveView(move.name, move.says or move.name, WHO[move.kind], move.name in possible)


def _in_time(desk: Desk) -> dict[str, Any]:
    """What takes its time now, and the buttons that let time pass; empty without time."""
    time, state = desk.bench.time, desk.session.state
    if time is None:
        return {"lasting": [], "unit": ""}
    lasting = [(desk.bench.in_words(n), says) for n, says in time.under_way(state).items()]
    return {"lasting": lasting, "unit": time.unit, "tick": TICK}


def plant(desk: Desk) -> dict[str, Any]:
    """What the plant does or does not do now, timers, late signals, and the scan."""
    bench, session = desk.bench, desk.session
    possible = session.possible()
    ready: list[MoveView] = []
    blocked: list[MoveView] = []
    for move in bench.model.moves:
        if move.kind is MoveKind.PLANT and move.source == bench.value(session.state, move.machine):
            view = _move(move, possible)
            (ready if view.possible else blocked).append(view)
    for name, kind in possible.items():
        if kind in (MoveKind.TIMER, MoveKind.BUS):
            ready.append(MoveView(name, bench.system.move(name).says, WHO[kind], True))
    return {
        "ready": ready,
        "blocked": blocked,
        "scan": SCAN,
        "due": bench.scan_is_due(session.state),
        "by_itself": session.by_itself,
        "scan_follows": session.scan_follows,
        "time": _in_time(desk),
    }


def why(desk: Desk) -> dict[str, Any]:
    """What was asked for and does not happen, down to what is missing; the likeliest first."""
    known = sorted(desk.refusals, key=lambda r: 0 if r.reason is None else len(_missing(r.reason)))
    shown = [_refusal(desk, refusal) for refusal in known[:_REASONS_SHOWN]]
    more = max(0, len(known) - _REASONS_SHOWN)
    files = [sheet.file for sheet in desk.bench.listing.sheets]
    networks = [as_is(svg) for svg in _networks(desk, known[0])] if known else []
    return {"refusals": shown, "more": more, "files": files, "networks": networks}


def _networks(desk: Desk, refusal: Refusal) -> list[str]:
    """What is drawn of the program and decides why something does not happen, with its values."""
    reason = refusal.reason
    if reason is None or not desk.bench.drawn_program:
        return []
    places = [r.place for r in _permissives(reason)] or [
        r.place for r in _all_of(reason) if r.permissive
    ]
    values = desk.session.here.scanned.values
    return desk.bench.drawn_program.deciding(places, values.get, "why-")[:_NETWORKS_SHOWN]


def _all_of(reason: Reason) -> Iterator[Reason]:
    yield reason
    for below in reason.below:
        yield from _all_of(below)


def _refusal(desk: Desk, refusal: Refusal) -> dict[str, Any]:
    reason = refusal.reason
    lacks, permissives = [], []
    if reason is not None:
        lacks = [_lack(desk, name, end) for name, end in _missing(reason).items()]
        permissives = list({r.text: _reason(r) for r in _permissives(reason)}.values())
    return {
        "what": refusal.what,
        "says": refusal.says,
        "tree": None if reason is None else _tree(reason),
        "lacks": lacks,
        "permissives": permissives,
    }


def _missing(reason: Reason) -> dict[str, Reason]:
    """Each thing that is missing in the end, with the first reason that names it."""
    found: dict[str, Reason] = {}
    for end in reason.ends:
        for name in sorted(name for name, _ in end.about) or [end.text]:
            found.setdefault(name, end)
    return found


def _lack(desk: Desk, name: str, end: Reason) -> dict[str, Any]:
    """A missing thing as the machine that is elsewhere, where it is one."""
    machines = {n.casefold(): m for n, m in desk.bench.model.machines.items()}
    machine = machines.get(name.casefold())
    told = end.text
    if machine is not None:
        at = desk.bench.label(desk.session.state, machine.name)
        told = f"{machine.says or machine.name} is {at}"
    return {"says": told, **_reason(end)}


def _permissives(reason: Reason) -> Iterator[Reason]:
    """The last variable of the program on each way down: the one that decides."""
    deeper = [found for below in reason.below for found in _permissives(below)]
    if not deeper and reason.permissive:
        yield reason
    yield from deeper


def _reason(reason: Reason) -> dict[str, Any]:
    return {"text": reason.text, "place": reason.place.short}


def _tree(reason: Reason) -> dict[str, Any]:
    return {**_reason(reason), "below": [_tree(below) for below in reason.below]}
