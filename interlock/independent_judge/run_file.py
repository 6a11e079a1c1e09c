"""Run files: a run as moves, kept as JSON, and its replay on the independent machine.

A file is one JSON object; `FORMAT` is the version of what follows::

    {
      "interlock_run": 1,
      "model": "ramp",
      "title": "Loading ramp with latch pin",
      "says": "the pin springs in half-way",
      "inputs": {"model.yaml": "<SHA-256>", "controller.st": "<SHA-256>"},
      "moves": ["scan", "panel to START", "scan"],
      "loop_start": null,
      "violates": ["R1"],
      "ends": {"ramp": "stowed", "pin": "out", "green": "FALSE"}
    }

``moves`` are the names of moves as `verify --json` writes them, from power-up on. ``loop_start``
is the number of moves before the part that repeats for ever. ``violates`` lists what the run
violates, ``ends`` values that machines and outputs have at its end; a replay checks both. What
the hashes in ``inputs`` no longer fit is told, not refused: a run may outlive a change.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from pathlib import Path as FilePath
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from interlock.base.errors import InputError, InternalError, Mistake, MistakeList, Place, nearest
from interlock.base.files import write_whole
from interlock.independent_judge.happenings import Happening
from interlock.independent_judge.judge import Observed, judged_word, observe, owed_by_loop
from interlock.independent_judge.player import Player
from interlock.independent_judge.trace import Word, holds
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.requirement import Pattern, ScopeKind
from interlock.model.build import ARITHMETIC, GENERATED, TIME, RunClass, build
from interlock.model.controller import STILL
from interlock.model.files import read_text
from interlock.model.model import Model, ModelMove, Statement
from interlock.model.schema_fields import Name, Words
from interlock.model.shape import validated
from interlock.model.timing import TICK
from interlock.model.yaml import Document, read
from interlock.st.evaluate import explain

FORMAT = 1
MAX_MOVES = 20_000


@dataclass(frozen=True)
class RunFile:
    """What a run file says.

    Attributes
    ----------
    model, title : str
        Name of the model's folder, and the model's title.
    moves : tuple of str
    loop_start : int or None
        Number of moves before the part that repeats for ever.
    violates : tuple of str
        Ids of the requirements that the run violates.
    ends : mapping of str to str
        Values of machines and outputs at the end, as labels.
    says : str
        What the run is for, in its author's words.
    inputs : mapping of str to str
        SHA-256 of each file of the model, by its name without folders.
    """

    model: str
    title: str
    moves: tuple[str, ...]
    loop_start: int | None = None
    violates: tuple[str, ...] = ()
    ends: Mapping[str, str] = field(default_factory=dict)
    says: str = ""
    inputs: Mapping[str, str] = field(default_factory=dict)
    document: Document | None = field(default=None, compare=False, repr=False)

    def place(self, *path: str | int) -> Place:
        """Where something is written in the file, for messages."""
        if self.document is not None:
            return self.document.place(path)
        return Place("run", int(path[1]) + 1 if len(path) > 1 and path[0] == "moves" else 1, 1)


@dataclass(frozen=True)
class PlayedRun:
    """A run file that was replayed.

    Attributes
    ----------
    happenings : tuple of Happening
    loop_start : int or None
    violates : tuple of str
        Every requirement that this run violates, however it goes on.
    notes : tuple of str
        What the replay could not settle, and which of the model's files have changed.
    """

    happenings: tuple[Happening, ...]
    loop_start: int | None
    violates: tuple[str, ...]
    notes: tuple[str, ...]


class _RunShape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    interlock_run: Literal["1"]
    model: Words
    title: Words = ""
    says: Words = ""
    inputs: dict[Words, Words] = Field(default_factory=dict)
    moves: list[Words] = Field(max_length=MAX_MOVES)
    loop_start: Annotated[int, Field(ge=0)] | None = None
    violates: list[Name] = Field(default_factory=list)
    ends: dict[Words, Words] = Field(default_factory=dict)


def record(
    model: Model, moves: Sequence[str], loop_start: int | None = None, says: str = ""
) -> RunFile:
    """The run file of `moves`, with what a replay finds: what it violates and how it ends.

    Raises
    ------
    InputError
        Where the model does not allow a move.
    """
    inputs = source_hashes(model)
    run = RunFile(model.name, model.title, tuple(moves), loop_start, says=says, inputs=inputs)
    played = _play(model, run)
    ends = played.player.shown()
    return replace(run, violates=_violated(model, run, played), ends=ends)


def violated_by(model: Model, moves: Sequence[str], only: Collection[str]) -> tuple[str, ...]:
    """Which of the requirements in `only` the run of `moves` violates, however it goes on.

    Raises
    ------
    InputError
        Where the model does not allow a move.
    """
    run = RunFile(model.name, model.title, tuple(moves))
    return tuple(id_ for id_ in _violated(model, run, _play(model, run, only)) if id_ in only)


def source_hashes(model: Model) -> dict[str, str]:
    """SHA-256 of the files, each by its name and as much of its folders as tells them apart."""
    files = {name.replace("\\", "/"): text for name, text in model.sources.items()}
    own = model.folder.as_posix()
    shown = {name: name.removeprefix(own + "/") for name in files}
    short = {n: s if s != n else "/".join(n.split("/")[-2:]) for n, s in shown.items()}
    found = {short[name]: hashlib.sha256(text.encode()).hexdigest() for name, text in files.items()}
    return dict(sorted(found.items()))


def to_text(run: RunFile) -> str:
    """The file's text: the same run, the same bytes."""
    names = ("model", "title", "says", "inputs", "moves", "loop_start", "violates", "ends")
    data = {"interlock_run": FORMAT, **{name: getattr(run, name) for name in names}}
    return json.dumps(data, indent=1, ensure_ascii=False) + "\n"


def write_run(file: FilePath, run: RunFile) -> None:
    """Write `run` as a whole file."""
    write_whole(file, to_text(run))


def read_run(file: FilePath) -> RunFile:
    """Read a run file.

    Raises
    ------
    InputError
        With every mistake of the file, each with its place.
    """
    return parse_run(read_text(file), str(file))


def parse_run(text: str, file: str) -> RunFile:
    """As `read_run`, from the text of a file."""
    try:
        json.loads(text)
    except json.JSONDecodeError as error:
        place = Place(file, error.lineno, error.colno)
        said = error.msg[:1].lower() + error.msg[1:]
        raise InputError([Mistake(place, f"not valid JSON: {said}")]) from None
    except (RecursionError, ValueError):
        raise InputError([Mistake(Place(file, 1, 1), "not valid JSON for a run")]) from None
    # JSON is YAML 1.2 but for tabs between values; read as such, every value has a place.
    document = read(text.replace("\t", " "), file)
    shape = validated(document, _RunShape, 'a run: {"interlock_run": 1, …}')
    if shape.loop_start is not None and shape.loop_start > len(shape.moves):
        said = f"the run has {len(shape.moves)} moves; a loop cannot start later"
        raise InputError([Mistake(document.place(("loop_start",)), said)])
    return RunFile(
        model=shape.model,
        title=shape.title,
        moves=tuple(shape.moves),
        loop_start=shape.loop_start,
        violates=tuple(shape.violates),
        ends=shape.ends,
        says=shape.says,
        inputs=shape.inputs,
        document=document,
    )


def replay_file(model: Model, run: RunFile) -> PlayedRun:
    """Replay `run` on the independent machine and check what it claims.

    Raises
    ------
    InputError
        At the first move that the model does not allow, or with every claim that is not so.
    """
    played = _play(model, run)
    mistakes = _check_ends(run, played.player)
    if run.loop_start is not None:
        mistakes += _check_loop(model, run)
    violated = _violated(model, run, played)
    notes = _changed_files(model, run)
    for number, id_ in enumerate(run.violates):
        statement = model.statements.get(id_)
        is_of_runs = statement is None or PATTERNS[statement.pattern].is_of_runs
        if id_ == TIME or not is_of_runs:
            notes.append(f"{id_} speaks of every way on from a state; one run cannot settle it")
        elif id_ not in violated:
            known = [*model.statements, *GENERATED]
            said = f"the run does not violate {id_}"
            if id_ not in known:
                said = f"'{id_}' is not a requirement{nearest(id_, known)}"
            mistakes.append(Mistake(run.place("violates", number), said))
    if mistakes:
        raise InputError(mistakes)
    return PlayedRun(tuple(played.happenings), run.loop_start, violated, tuple(notes))


@dataclass
class _Played:
    """What playing a run's moves gave: the machine at its end and what was seen on the way."""

    player: Player
    words: dict[str, list[Observed]]
    happenings: list[Happening] = field(default_factory=list)


def _play(model: Model, run: RunFile, only: Collection[str] | None = None) -> _Played:
    player = Player(model)
    statements = [
        statement
        for id_, statement in model.statements.items()
        if PATTERNS[statement.pattern].is_of_runs and (only is None or id_ in only)
    ]
    played = _Played(player, {s.id: [observe(player, s)] for s in statements})
    for number, move in enumerate(run.moves):
        try:
            played.happenings.append(player.play(move))
        except InternalError:
            says = f"move {number + 1}: {why_refused(player, move)}"
            raise InputError([Mistake(run.place("moves", number), says)]) from None
        truth = player.truth
        for statement in statements:
            played.words[statement.id].append(observe(player, statement, truth))
    return played


def why_refused(player: Player, move: str) -> str:
    """Why `player` does not make `move` now, down to the part of its guard that is false."""
    model = player.model
    moves = {m.name: m for m in model.moves}
    if move not in moves:
        own = [*player.programs.scans, STILL, *([TICK] if model.timing else [])]
        known = [*moves, *player.events, *own]
        if move not in known:
            return f"'{move}' is not a move{nearest(move, known)}"
    if early := player.why_not_in_time(move):
        return f"'{move}' is not possible yet: {early}"
    if move == STILL or move in player.programs.scans:
        return (
            f"'{move}' is not possible: {'a' if move == STILL else 'no such'} controller scans now"
        )
    if move not in moves:
        why = f": {player.why_not_late(move)}" if player.why_not_late(move) else " now"
        return f"'{move}' is not possible{why}"
    if player.waits_for_scan(move):
        return f"'{move}' is not possible before the next scan"
    return f"'{move}' is not possible: {_why_not(player, moves[move])}"


def _why_not(player: Player, move: ModelMove) -> str:
    machine = player.model.machines[move.machine]
    at = player.state()[machine.name]
    if (move.source is not None and at != move.source) or at == move.target:
        wanted = "" if move.source is None else f", not {machine.states[move.source]}"
        return f"{machine.name} is {machine.states[at]}{wanted}"
    if move.when is not None:
        false = [text for text, value in explain(move.when.tree, player.truth) if not value]
        if false:
            place = move.when.place
            said = " and ".join(f"{text} is FALSE" for text in false)
            return f"{said} ({place.file}:{place.line})"
    return f"a fault keeps {machine.name} where it is"


def _check_ends(run: RunFile, player: Player) -> list[Mistake]:
    shown = player.shown()
    mistakes = MistakeList()
    for name, label in run.ends.items():
        place = run.place("ends", name)
        if name not in shown:
            said = f"'{name}' is neither a machine nor an output{nearest(name, shown)}"
            mistakes.append(Mistake(place, said))
        elif shown[name] != label:
            said = f"{name} is {shown[name]} at the end of the run, not {label}"
            mistakes.append(Mistake(place, said))
    return mistakes


def _check_loop(model: Model, run: RunFile) -> list[Mistake]:
    assert run.loop_start is not None
    place = run.place("loop_start")
    player = Player(model)
    for move in run.moves[: run.loop_start]:
        player.play(move)
    start = player.state()
    for move in run.moves[run.loop_start :]:
        player.play(move)
    end = player.state()
    # What nothing ever reads makes no state another: a timer of which nobody asks may count on.
    read = build(model, RunClass(tuple(model.faults), None, human=True)).system.index
    differing = [name for name, value in start.items() if name in read and end[name] != value]
    if differing:
        said = f"the loop does not close: {differing[0]} is another at its end"
        return [Mistake(place, said)]
    owed = owed_by_loop(model, run.moves, run.loop_start)
    if owed:
        said = f"such a loop does not happen: '{owed[0]}' stays possible and is never made"
        return [Mistake(place, said)]
    return []


def _violated(model: Model, run: RunFile, played: _Played) -> tuple[str, ...]:
    found = [
        id_
        for id_, observed in played.words.items()
        if violates(model.statements[id_], observed, run.loop_start)
    ]
    scans = [happening.scan for happening in played.happenings]
    # What the next scan would compute out of range is violated in the state before it.
    failed = any(scan is not None and scan.defects for scan in scans)
    if failed or played.player.defects_next():
        found.append(ARITHMETIC)
    return tuple(found)


def violates(statement: Statement, observed: list[Observed], loop_start: int | None) -> bool:
    """Whether a run violates `statement`, however it goes on where it has no loop.

    Parameters
    ----------
    statement : Statement
        Any but a 'can always still', which no single run can violate.
    observed : list of (bool, Valuation)
        Every state of the run, as `interlock.independent_judge.judge.observe` gives them.
    loop_start : int or None
        Position in `observed` that follows the last one, where the run repeats for ever.
    """
    loop = len(observed) - 1 if loop_start is None else loop_start
    word, start = judged_word(statement, observed, loop)
    if not word:
        return False
    within = None if statement.within is None else statement.within.scans
    if loop_start is not None:
        return not holds(statement.pattern, statement.scope, word, start, within)
    return is_refuted(statement.pattern, statement.scope, word, within)


def is_refuted(pattern: Pattern, scope: ScopeKind, word: Word, within: int | None = None) -> bool:
    """Whether a finite run violates a requirement however it goes on.

    The run is lengthened by a state for ever, in which no scope opens or closes and time stands
    still, with the predicates as they may be. What none of these can mend is violated.

    Parameters and errors as for `interlock.independent_judge.trace.holds`.

    >>> owed = [{"p": False, "s": False, "q": False, "r": False}]
    >>> is_refuted(Pattern.EXISTS, ScopeKind.GLOBALLY, owed)
    False
    >>> is_refuted(Pattern.ALWAYS, ScopeKind.GLOBALLY, owed)
    True
    """
    # No scan leads there, so what is owed within a bound comes before the bound is passed.
    still = {"q": False, "r": False, "scan": False}
    endings = [{"p": p, "s": s, **still} for p, s in product((False, True), repeat=2)]
    return not any(holds(pattern, scope, [*word, last], len(word), within) for last in endings)


def _changed_files(model: Model, run: RunFile) -> list[str]:
    now = source_hashes(model)
    changed = [name for name, value in run.inputs.items() if name in now and now[name] != value]
    notes = []
    if run.model != model.name:
        notes.append(f"the run was saved of the model '{run.model}'")
    if changed:
        notes.append(f"changed since the run was saved: {', '.join(changed)}")
    return notes
