"""The runs of a report: as a story to read, as pictures, and as data for the player."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from interlock.base.errors import Place
from interlock.base.visible import made_visible
from interlock.commands.rehearse.tell import says as deviation_says
from interlock.commands.report.dossier import Dossier
from interlock.commands.report.figures import figure_of, inlined
from interlock.independent_judge.judge import Replayed
from interlock.independent_judge.moments import moments_of
from interlock.independent_judge.run_file import record, to_text
from interlock.independent_judge.story import tell_to_the_end
from interlock.judgement.finding import Finding
from interlock.kernel.system import MoveKind
from interlock.model.model import Model
from interlock.pictures.frames import Frame, frames_of_run
from interlock.pictures.picture import Picture
from interlock.pictures.program import deciding_of_run
from interlock.pictures.sequence import draw_sequence
from interlock.pictures.side_view import SideView
from interlock.pictures.timing import draw_timing
from interlock.telling.counts import counted

# The player puts the name of its run before these ids.
PREFIX = "side-view-in-player-"
# The player tells by itself what a picture shows.
_NAMES = re.compile(
    r' aria-labelledby="[^"]*"|<title [^>]*>[^<]*</title>\n<desc [^>]*>[^<]*</desc>\n'
)
# So many runs of one requirement are shown, and so many of all.
MOST_OF_ONE, MOST_RUNS = 3, 80
_STILLS, _STILLS_OF_FAULTS = 4, 2


@dataclass(frozen=True)
class ShownRun:
    """A run that a report shows.

    Attributes
    ----------
    id : str
        Unique in the report.
    requirement : str
        What it violates or reaches.
    title, says : str
    run : Replayed
    finding : Finding or None
        Where it is the run behind a verdict.
    faults : tuple of str
        That strike in it, where it comes from the study of faults.
    violates : bool
        Whether it violates the requirement; else it reaches what can always still be reached.
    """

    id: str
    requirement: str
    title: str
    says: str
    run: Replayed
    finding: Finding | None = None
    faults: tuple[str, ...] = ()
    violates: bool = True


def runs_of(dossier: Dossier) -> list[ShownRun]:
    """Every run that the studies found: of verdicts, faults and procedures, and to the goals."""
    return [
        *_of_verdicts(dossier),
        *_of_faults(dossier),
        *_of_procedures(dossier),
        *_of_conversions(dossier),
    ]


def chosen(runs: Sequence[ShownRun]) -> list[ShownRun]:
    """Those that are shown: the first few of each requirement."""
    n_of: Counter[str] = Counter()
    found: list[ShownRun] = []
    for shown in runs:
        n_of[shown.requirement] += 1
        if n_of[shown.requirement] <= MOST_OF_ONE and len(found) < MOST_RUNS:
            found.append(shown)
    return found


def _of_verdicts(dossier: Dossier) -> Iterator[ShownRun]:
    for finding in dossier.verification.findings:
        if finding.run is not None:
            id_ = finding.requirement.id
            title = f"{id_} violated: {finding.requirement.says}"
            says = f"A shortest run under {finding.run_class.says}"
            yield ShownRun(f"run-{id_}", id_, title, says, finding.run, finding)


def _of_faults(dossier: Dossier) -> Iterator[ShownRun]:
    if dossier.faults is None:
        return
    for found in dossier.faults.runs:
        if not found.faults and found.requirement in dossier.findings:
            continue  # the verdict's own run
        id_, struck = found.requirement, ", then ".join(found.faults)
        says = "A shortest run in which exactly these faults strike, in this order"
        if found.human_errors:
            says += f"; human errors on the way: {'; '.join(found.human_errors)}"
        name = "-".join((id_, *found.faults))
        title = f"{id_} broken by {struck}: {dossier.faults.requirements[id_].says}"
        yield ShownRun(f"run-{name}", id_, title, says, found.run, None, found.faults)


def _of_procedures(dossier: Dossier) -> Iterator[ShownRun]:
    for rehearsed in () if dossier.rehearsal is None else dossier.rehearsal.rehearsed:
        name = rehearsed.procedure.id
        if rehearsed.run is not None and rehearsed.requirement is not None:
            title = f"{rehearsed.requirement} violated by {name} as written"
            yield ShownRun(
                f"run-{name}", rehearsed.requirement, title, "Everything as written", rehearsed.run
            )
        for number, result in enumerate(rehearsed.singles, 1):
            if result.run is not None and result.requirement is not None:
                title = f"{result.requirement} violated in {name}: {deviation_says(result)}"
                says = "The procedure is performed with this deviation and then goes on"
                id_ = f"run-{name}-{number}"
                yield ShownRun(id_, result.requirement, title, says, result.run)


def _of_conversions(dossier: Dossier) -> Iterator[ShownRun]:
    found = dossier.maps.conversions
    moves: list[str] = []
    for number, conversion in enumerate(() if found is None else found.runs):
        moves += conversion.moves
        happenings = [moment.happening for moment in moments_of(dossier.model, moves)]
        run = Replayed(tuple(h for h in happenings if h is not None), None)
        id_ = conversion.goal
        title = f"{id_} reached: {dossier.findings[id_].requirement.says}"
        says = "A shortest run from power-up to what can always still be reached"
        if number:
            says = "The run before it, and from its end a shortest run on to this goal"
        yield ShownRun(f"run-to-{id_}", id_, title, says, run, violates=False)


def run_view(model: Model, view: SideView, shown: ShownRun) -> dict[str, Any]:
    """A run as a story with its pictures, for the page."""
    run = shown.run
    frames = frames_of_run(model, run, "VIOLATED" if shown.violates else "")
    is_short = bool(shown.faults)
    return {
        "id": shown.id,
        "title": shown.title,
        "says": shown.says,
        "requirement": shown.requirement,
        "violates": shown.violates,
        "n_steps": counted(len(run.happenings), "step"),
        "note": run.note,
        "stands": run.loop_start is not None and run.loop_start == len(run.happenings),
        "lines": [(line, _places(line.decided)) for line in tell_to_the_end(model, run)],
        "stills": [
            {
                "head": frame.head,
                "says": frame.says,
                "bad": frame.is_bad,
                "svg": _still(view, frame, f"{shown.id}-{frame.number}-"),
            }
            for frame in _telling(frames, _STILLS_OF_FAULTS if is_short else _STILLS)
        ],
        "figures": list(_figures(model, shown)),
        "file": to_text(
            record(model, [h.move for h in run.happenings], run.loop_start, shown.title)
        ),
    }


def _places(decided: Sequence[Place]) -> dict[str, list[tuple[int, str]]]:
    """Lines, with the element in a drawing, by the file that they stand in."""
    found: dict[str, list[tuple[int, str]]] = {}
    for place in decided:
        found.setdefault(place.file_name, []).append((place.line, place.element))
    return {file: sorted(lines) for file, lines in found.items()}


def _still(view: SideView, frame: Frame, prefix: str) -> str:
    words = ". ".join(view.words(frame.values))
    text = view.draw(frame.values, title=frame.head, caption=False, prefix=prefix)
    return inlined(text, "", f"{frame.head}. {words}")[0]


def _telling(frames: Sequence[Frame], most: int) -> list[Frame]:
    """The last of them, and before it those after which people or plant had moved."""
    moved = [frame for frame in frames[:-1] if frame.kind is not MoveKind.SCAN]
    return [*moved[max(0, len(moved) - most + 1) :], frames[-1]] if frames else []


def _figures(model: Model, shown: ShownRun) -> Iterator[Any]:
    if shown.finding is None:
        return
    yield figure_of(draw_sequence(model, shown.finding), f"{shown.id}-sequence")
    text = draw_timing(model, shown.run, shown.title, shown.requirement)
    timing = Picture("timing", f"{shown.requirement}: the run, timed", text, is_svg=True)
    yield figure_of(timing, f"{shown.id}-timing")
    for number, text in enumerate(deciding_of_run(model, shown.run), 1):
        says = f"{shown.requirement}: network that decided, with the values after that scan"
        picture = Picture(f"decided-{number}", says, text, is_svg=True)
        yield figure_of(picture, f"{shown.id}-decided-{number}")


def player_data(model: Model, view: SideView, runs: Sequence[ShownRun]) -> str:
    """All side views as one JSON text for the inside of a page.

    One state is kept whole; of every other one only the pieces that differ from it are kept, each
    distinct piece once.
    """
    data = _Views(view)
    found = {shown.id: data.of_run(model, shown.run) for shown in runs}
    text = json.dumps(
        {"base": data.base, "pieces": list(data.pieces), "words": list(data.words), "runs": found},
        ensure_ascii=False,
        separators=(",", ":"),
    )
    # Nothing in it may end the element that it stands in.
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


class _Views:
    """Side views taken apart at their elements."""

    def __init__(self, view: SideView) -> None:
        self._view = view
        self.base: list[str] = []
        self.pieces: dict[str, int] = {}
        self.words: dict[str, int] = {}

    def of_run(self, model: Model, run: Replayed) -> list[dict[str, Any]]:
        """For each line of the run's story, power-up first: its step, its picture, its words."""
        frames = frames_of_run(model, run)
        numbers = [0, *(line.number for line in tell_to_the_end(model, run))]
        rows = []
        for number in numbers:
            frame = [f for f in frames if f.number <= number][-1]
            words = map(made_visible, self._view.words(frame.values))
            told = [self.words.setdefault(word, len(self.words)) for word in words]
            rows.append({"step": number, "words": told, **self._drawn(frame)})
        return rows

    def _drawn(self, frame: Frame) -> dict[str, list[int]]:
        text = self._view.draw(frame.values, title="Side view", caption=False, prefix=PREFIX)
        pieces = _NAMES.sub("", text).split("<")
        if not self.base:
            self.base = pieces
        if len(pieces) != len(self.base):
            return {"whole": [self._number(piece) for piece in pieces]}
        changes = []
        for place, (piece, kept) in enumerate(zip(pieces, self.base, strict=True)):
            if piece != kept:
                changes += [place, self._number(piece)]
        return {"changes": changes}

    def _number(self, piece: str) -> int:
        return self.pieces.setdefault(piece, len(self.pieces))
