"""Sheets of side views: a run, or a conversion, picture by picture with what changed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interlock.independent_judge.happenings import Happening
from interlock.independent_judge.judge import Replayed
from interlock.independent_judge.moments import Moment, moments_of
from interlock.independent_judge.story import WHO, change_in_words
from interlock.kernel.system import MoveKind
from interlock.model.build import SCAN
from interlock.model.model import Model
from interlock.pictures.side_view import SideView
from interlock.pictures.style import DANGER, PALE, SAFE
from interlock.pictures.svg import element, picture, size_within, text, width_of, wrapped_to
from interlock.pictures.truth import Value

_MARGIN, _GAP = 16.0, 14.0
_SHEET = 1500.0
_FLAT = 2.4  # drawings flatter than this stand two in a row, others three
_LINE, _SIZE = 15.0, 11.0


@dataclass(frozen=True)
class Frame:
    """One picture of a sheet.

    Attributes
    ----------
    head : str
        Its number and who acted.
    says : str
        What happened on the way to it.
    values : mapping of str to Value
        The state.
    mark : str
        What it is the end of; told at its head.
    is_bad : bool
        Whether that is a violation.
    number : int
        Steps before it.
    kind : MoveKind or None
        Who acted last before it; None at power-up.
    """

    head: str
    says: str
    values: dict[str, Value]
    mark: str = ""
    is_bad: bool = False
    number: int = 0
    kind: MoveKind | None = None


def frames_of_run(model: Model, run: Replayed, mark: str = "VIOLATED") -> list[Frame]:
    """A frame for each step that changes something to be seen, and for the last one.

    Parameters
    ----------
    model : Model
    run : Replayed
    mark : str
        What stands at the head of the last frame; empty where the run shows no violation.
    """
    moments = moments_of(model, [happening.move for happening in run.happenings])
    frames = [Frame("At power-up", "", dict(moments[0].seen))]
    for moment in moments[1:]:
        happening = moment.happening
        assert happening is not None
        is_end = moment is moments[-1]
        is_quiet = happening.kind in (MoveKind.SCAN, MoveKind.TIME)
        if happening.changes or not is_quiet or is_end:
            frames.append(_frame(model, moment, mark if is_end else ""))
    return frames


def changes_in_words(model: Model, happening: Happening) -> str:
    """What changed in a step, in the words of stories; empty where nothing that is seen did."""
    return ", ".join(change_in_words(model, change) for change in happening.changes)


def step_in_words(model: Model, happening: Happening, quiet: str) -> str:
    """What happened in a step and what changed; `quiet` for a scan that changed nothing."""
    changes = changes_in_words(model, happening)
    if happening.kind is MoveKind.SCAN:
        return changes or quiet
    what = happening.says or happening.move
    return f"{what}: {changes}" if changes else what


def _frame(model: Model, moment: Moment, mark: str) -> Frame:
    happening = moment.happening
    assert happening is not None
    says = step_in_words(model, happening, "no output changes")
    head = f"{moment.number} {WHO[happening.kind]}"
    return Frame(head, says, dict(moment.seen), mark, bool(mark), moment.number, happening.kind)


def frames_of_conversions(model: Model, runs: Sequence[tuple[str, Sequence[str]]]) -> list[Frame]:
    """A frame for each configuration of the map's machines that the runs pass through.

    Each shows the configuration as it was left, with what was done in it.

    Parameters
    ----------
    model : Model
    runs : sequence of (str, sequence of str)
        What each run arrives at, in words, and its moves; each goes on where the one before ended.
    """
    played = [*(move for _, moves in runs for move in moves), SCAN]
    moments = moments_of(model, played)
    arrivals: dict[int, str] = {}
    number = 0
    for goal, moves in runs:
        number += len(moves)
        # What people see of it follows a scan.
        arrivals[number + (played[number] == SCAN)] = goal
    frames: list[Frame] = []
    done: list[str] = []
    for number, moment in enumerate(moments[: max(arrivals, default=0) + 1]):
        happening = moment.happening
        if happening is not None and happening.kind is not MoveKind.SCAN:
            done.append(happening.says or happening.move)
        goal = arrivals.get(number, "")
        if goal or _place(model, moments[number + 1]) != _place(model, moment):
            head = ", ".join(f"{n} {moment.shown[n]}" for n in model.map_machines)
            mark = f"arrived: {goal}" if goal else ""
            says = "; ".join(done)
            head = f"{len(frames) + 1}  {head}"
            frames.append(Frame(head, says, dict(moment.seen), mark, number=number))
            done = []
    return frames


def _place(model: Model, moment: Moment) -> tuple[str, ...]:
    return tuple(moment.shown[name] for name in model.map_machines)


def draw_sheet(
    view: SideView, frames: Sequence[Frame], title: str, notes: Sequence[str] = ()
) -> str:
    """The frames side by side as SVG text.

    Parameters
    ----------
    view : SideView
    frames : sequence of Frame
    title : str
    notes : sequence of str
        Lines below the title.
    """
    room = _SHEET - 2 * _MARGIN
    n_columns = min(len(frames), 2 if view.aspect > _FLAT else 3) or 1
    frame_width = min((room - _GAP * (n_columns - 1)) / n_columns, _SHEET / 2)
    frame_height = frame_width / view.aspect
    size = size_within(title, room, 16)
    parts = [text(_MARGIN, 30, title, font_size=size, font_weight="bold")]
    y = 34.0
    for note in notes:
        for line in wrapped_to(note, room, _SIZE):
            y += _LINE
            parts.append(text(_MARGIN, y, line, font_size=_SIZE, fill=PALE))
    y += _GAP
    for first in range(0, len(frames), n_columns):
        row = frames[first : first + n_columns]
        captions = [wrapped_to(frame.says, frame_width - 16, _SIZE) for frame in row]
        top = y + 22 + _LINE * max(map(len, captions))
        for column, (frame, lines) in enumerate(zip(row, captions, strict=True)):
            x = _MARGIN + column * (frame_width + _GAP)
            prefix = f"f{first + column}-"
            parts.append(view.inset(frame.values, x, top, frame_width, prefix))
            parts += _bordered(frame, lines, (x, y, frame_width, top + frame_height - y))
        y = top + frame_height + _GAP
    says = " ".join(f"{frame.head}. {'. '.join(view.words(frame.values))}." for frame in frames)
    return picture(_SHEET, y, parts, title=title, says=says)


def _bordered(
    frame: Frame, lines: Sequence[str], box: tuple[float, float, float, float]
) -> Iterator[str]:
    """The border of a frame and what stands in it above the picture."""
    x, y, width, height = box
    color = DANGER if frame.is_bad else SAFE
    line, weight = (color, 2.5) if frame.mark else ("#b8b8b8", 1.0)
    yield element(
        "rect",
        x=x,
        y=y,
        width=width,
        height=height,
        fill="none",
        stroke=line,
        stroke_width=weight,
    )
    room = width - 16 - (width_of(frame.mark, 13) + 8 if frame.mark else 0)
    size = size_within(frame.head, room, 12)
    yield text(x + 8, y + 16, frame.head, font_size=size, font_weight="bold")
    if frame.mark:
        yield text(
            x + width - 8,
            y + 16,
            frame.mark,
            font_size=12,
            font_weight="bold",
            text_anchor="end",
            fill=color,
        )
    for number, words in enumerate(lines):
        yield text(x + 8, y + 31 + _LINE * number, words, font_size=_SIZE)
