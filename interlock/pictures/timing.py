"""The timing diagram of a run: signals over its steps, and the lines of the program that decided.

Time goes to the right, a column for each state; a step leads from one to the next. A BOOL is a
line that is low or high, what has more values is a band with the value's name; an input that says
something else than what is so has the word in it. Below stand the steps in words with the
program's own lines. Where time is counted it passes within columns, which are wider for it, and
stands above them in seconds; what happens at one instant has a column each all the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import accumulate, pairwise

from interlock.independent_judge.judge import Replayed
from interlock.independent_judge.moments import Moment, moments_of
from interlock.independent_judge.story import WHO, tell_to_the_end
from interlock.kernel.system import MoveKind
from interlock.model.model import Formula, Model
from interlock.pictures.frames import changes_in_words, step_in_words
from interlock.pictures.letters import laid_out_width
from interlock.pictures.picture import assumption_notes
from interlock.pictures.signals import Signal, conditions_of, judged, signals_of
from interlock.pictures.style import DANGER, INK, MONOSPACED, PALE, PAPER
from interlock.pictures.svg import element, path_through, picture, text, width_of

_LEFT, _TOP = 16.0, 74.0
_WHO, _SAYS, _SOURCE = 44.0, 120.0, 234.0  # columns of the story
_ROW, _WAVE = 26.0, 16.0
_SIZE = 11.0
_NARROW, _BROAD = 30.0, 96.0
_SPAN = 480.0  # what all the time of a run adds to its width
_CODE: dict[str, str | float | None] = {"font_family": f"{MONOSPACED}, monospace", "font_size": 10}
# One letter for who makes a step, told in the legend.
LETTERS = {
    MoveKind.PLANT: "P",
    MoveKind.OPERATOR: "O",
    MoveKind.DRIVER: "D",
    MoveKind.INPUT: "I",
    MoveKind.TIMER: "T",
    MoveKind.HUMAN: "H",
    MoveKind.FAULT: "F",
    MoveKind.BUS: "B",
    MoveKind.EFFECT: "E",
    MoveKind.SCAN: "C",
    MoveKind.TIME: "t",
}


def draw_timing(
    model: Model,
    run: Replayed,
    title: str,
    requirement: str = "",
    every: bool = False,
    prefix: str = "",
) -> str:
    """The timing diagram of a run as SVG text.

    Parameters
    ----------
    model : Model
    run : Replayed
    title : str
    requirement : str
        Id of the requirement whose conditions are drawn, too.
    every : bool
        Whether to draw what never changes, too, and every input of the program. Else only what
        changes is drawn, and inputs only where they lie.
    prefix : str
        Before each id in the picture.
    """
    moments = moments_of(model, [happening.move for happening in run.happenings])
    told = {line.number for line in tell_to_the_end(model, run)}
    drawn = [moment for moment in moments if moment.number in told or moment.happening is None]
    # What passes of time is no state of its own: it makes the column before it wider.
    drawn = [m for m in drawn if m.happening is None or m.happening.kind is not MoveKind.TIME]
    lasting = [b - a for a, b in pairwise([*(m.ms for m in drawn), moments[-1].ms])]
    conditions = conditions_of(model, requirement)
    signals = [s for s in signals_of(model, drawn) if every or s.matters]
    signals += judged(model, drawn, requirement, conditions)
    diagram = _Diagram(drawn, signals, run, lasting)
    diagram.waves()
    diagram.meanings(conditions)
    diagram.story(model)
    says = "Steps: " + " ".join(_step_in_short(model, moment) for moment in drawn[1:])
    legend = " ".join([_legend(drawn, run, len(moments) - len(drawn)), *assumption_notes(model)])
    width = max(diagram.width, width_of(title, 16) + 2 * _LEFT, width_of(legend, 10) + 2 * _LEFT)
    parts = [
        text(_LEFT, 26, title, font_size=15, font_weight="bold"),
        text(_LEFT, 44, legend, font_size=10, fill=PALE),
        *diagram.parts,
    ]
    return picture(width, diagram.y + 12, parts, title=title, says=says, prefix=prefix)


def _step_in_short(model: Model, moment: Moment) -> str:
    happening = moment.happening
    assert happening is not None
    changes = changes_in_words(model, happening) or "nothing to be seen changes"
    return f"{moment.number} {WHO[happening.kind]}: {changes}."


def _legend(moments: Sequence[Moment], run: Replayed, left_out: int) -> str:
    used = {m.happening.kind for m in moments if m.happening is not None}
    letters = ", ".join(f"{LETTERS[k]} {WHO[k]}" for k in MoveKind if k in used)
    n_ticks = sum(happening.kind is MoveKind.TIME for happening in run.happenings)
    left_out -= n_ticks
    said = f"A column for each state; above it the step that led to it and who made it: {letters}."
    if n_ticks:
        said += " Above a column the time; one in which time passes is wider."
    if not left_out:
        return said
    scans = "scan that changes nothing is" if left_out == 1 else "scans that change nothing are"
    return f"{said} {left_out} {scans} left out."


class _Diagram:
    """The growing picture; `y` is where its last row ended."""

    def __init__(
        self,
        moments: list[Moment],
        signals: list[Signal],
        run: Replayed,
        lasting: Sequence[int],
    ) -> None:
        self._moments, self._signals, self._run = moments, signals, run
        self._lasting = lasting
        column, scale = _column_width(signals), _SPAN / max(1, sum(lasting))
        self._offsets = [0.0, *accumulate(column + ms * scale for ms in lasting)]
        names = [width_of(signal.name, _SIZE) for signal in signals]
        self._names = max([134.0, *names]) + 16
        self.width = self._x(len(moments)) + 24
        self.parts: list[str] = []
        self.y = _TOP

    def _x(self, column: int) -> float:
        return self._names + self._offsets[column]

    def _width(self, column: int) -> float:
        return self._offsets[column + 1] - self._offsets[column]

    def waves(self) -> None:
        """Draw head and rows."""
        head = self.y
        self._shade()
        self.y += 8
        if any(self._lasting):
            self._times()
        group = ""
        for signal in self._signals:
            if signal.group != group:
                group = signal.group
                self.y += 18
                self._text(_LEFT, self.y - 3, group, fill=PALE, font_weight="bold")
            self._row(signal)
        bottom = self.y + 6
        for column, moment in enumerate(self._moments):
            self._head(column, moment, head)
            x = self._x(column)
            self.parts.insert(
                0,
                element(
                    "path",
                    d=path_through((x, head - 4), (x, bottom)),
                    stroke="#d8d8d8",
                    fill="none",
                ),
            )
        self._ends(head, bottom)
        self.y = bottom + 12

    def _text(self, x: float, y: float, words: str, **look: str | float | None) -> None:
        size = look.pop("font_size", _SIZE)
        assert isinstance(size, float | int)
        self.parts.append(text(x, y, words, font_size=size, **look))
        if "text_anchor" not in look:
            is_code = look.get("font_family") == _CODE["font_family"]
            wide = laid_out_width(words, size, is_code=True) if is_code else width_of(words, size)
            self.width = max(self.width, x + wide + 16)

    def _head(self, column: int, moment: Moment, y: float) -> None:
        x = self._x(column) + self._width(column) / 2
        if moment.happening is None:
            self._text(x, y, "start", text_anchor="middle", fill=PALE, font_size=10)
            return
        letter = LETTERS[moment.happening.kind]
        self._text(x, y - 12, letter, text_anchor="middle", font_weight="bold")
        self._text(x, y, str(moment.number), text_anchor="middle")

    def _times(self) -> None:
        """When each state begins, where that is later than before, and when the last one ends."""
        self.y += 8
        begins = [moment.ms for moment in self._moments]
        begins.append(begins[-1] + self._lasting[-1])
        for column, ms in enumerate(begins):
            if column and ms != begins[column - 1]:
                x = self._x(column)
                mark = path_through((x, self.y + 2), (x, self.y + 8))
                self.parts.append(element("path", d=mark, stroke=INK, fill="none"))
                said = f"{ms / 1000:g} s"
                self._text(x - 3, self.y, said, text_anchor="end", font_size=9, fill=PALE)
        self.y += 4

    def _shade(self) -> None:
        """Each second column, so that the eye keeps its way down."""
        height = _ROW * len(self._signals) + 18 * len({s.group for s in self._signals}) + 18
        for column in range(1, len(self._moments), 2):
            self.parts.append(
                element(
                    "rect",
                    x=self._x(column),
                    y=self.y - 24,
                    width=self._width(column),
                    height=height + 20,
                    fill="#f7f7f7",
                )
            )

    def _ends(self, top: float, bottom: float) -> None:
        last = len(self._moments) - 1
        look: dict[str, str | float | None] = {"fill": "none", "stroke": DANGER}
        if self._run.loop_start is None:
            x = self._x(last)
            self.parts.append(
                element(
                    "rect",
                    x=x,
                    y=top - 24,
                    width=self._width(last),
                    height=bottom - top + 24,
                    stroke_width=2,
                    stroke_dasharray="5 3",
                    **look,
                )
            )
            return
        first = next(
            (n for n, m in enumerate(self._moments) if m.number >= self._run.loop_start), last
        )
        left, right = self._x(first), self._x(last + 1)
        bracket = path_through(
            (left, top - 20), (left, top - 26), (right, top - 26), (right, top - 20)
        )
        self.parts.append(element("path", d=bracket, stroke_width=2, **look))
        self._text(right, top - 30, "for ever", text_anchor="end", fill=DANGER, font_weight="bold")

    def _row(self, signal: Signal) -> None:
        top = self.y + (_ROW - _WAVE) / 2
        self._text(_LEFT + 8, top + _WAVE - 4, signal.name)
        draw = self._line if signal.is_bool else self._bands
        draw(signal, top)
        for column, lies in enumerate(signal.lies):
            if lies and not (column and signal.lies[column - 1]):
                x = self._x(column) + 3
                self._text(x, top + _WAVE / 2 + 3.5, "lies", fill=DANGER, font_size=9)
        self.y += _ROW

    def _line(self, signal: Signal, top: float) -> None:
        points: list[tuple[float, float]] = []
        for first, n_columns, value in signal.runs:
            left, right = self._x(first), self._x(first + n_columns)
            y = top if value == "TRUE" else top + _WAVE
            points += [(left, y), (right, y)]
            if value == "TRUE":
                fill = element(
                    "rect", x=left, y=top, width=right - left, height=_WAVE, fill="#dde3ea"
                )
                self.parts.append(fill)
        self.parts.append(
            element("path", d=path_through(*points), fill="none", stroke=INK, stroke_width=1.6)
        )

    def _bands(self, signal: Signal, top: float) -> None:
        middle, bottom, slope = top + _WAVE / 2, top + _WAVE, 4.0
        for first, n_columns, value in signal.runs:
            left, right = self._x(first), self._x(first + n_columns)
            shape = path_through(
                *((left, middle), (left + slope, top), (right - slope, top), (right, middle)),
                *((right - slope, bottom), (left + slope, bottom), (left, middle)),
            )
            self.parts.append(element("path", d=shape, fill=PAPER, stroke=INK, stroke_width=1.2))
            words = _fitting(value, right - left - 10, _SIZE)
            self._text((left + right) / 2, bottom - 4, words, text_anchor="middle")

    def meanings(self, conditions: Mapping[str, Formula]) -> None:
        """What the conditions of the requirement are."""
        for role, formula in conditions.items():
            self._text(_LEFT + 8, self.y, role, fill=PALE)
            self._text(_SAYS, self.y, formula.text, **_CODE)
            self.y += 15
        self.y += 4 if conditions else 0

    def story(self, model: Model) -> None:
        """The steps in words, each scan with the lines of the program that decided."""
        self.parts.append(
            element("path", d=path_through((_LEFT, self.y), (self.width - 16, self.y)), stroke=PALE)
        )
        self.y += 6
        for moment in self._moments[1:]:
            self._step(model, moment)

    def _step(self, model: Model, moment: Moment) -> None:
        happening = moment.happening
        assert happening is not None
        self.y += 17
        self._text(_WHO - 8, self.y, str(moment.number), text_anchor="end")
        self._text(_WHO, self.y, WHO[happening.kind], font_weight="bold")
        words = step_in_words(model, happening, "scans, no output changes")
        self._text(_SAYS, self.y, words)
        for file, line, source in _deciding(model, moment):
            self.y += 15
            self._text(_SAYS + 10, self.y, f"{file}:{line}", fill=PALE, font_size=10)
            self._text(_SOURCE, self.y, source, **_CODE)


def _deciding(model: Model, moment: Moment) -> Iterator[tuple[str, int, str]]:
    """File, number and text of the program's lines that decided what the scan changed."""
    assert moment.happening is not None
    if moment.happening.scan is None:
        return
    shown = {change.name for change in moment.happening.changes}
    places = [d.place for d in moment.happening.scan.decided if d.name in shown]
    for place in sorted(dict.fromkeys(places)):
        source = place.element or _statement_at(model.sources.get(place.file, ""), place.line)
        yield place.file_name, place.line, source


def _statement_at(program: str, line: int) -> str:
    """The lines of `program` from number `line` to the end of a statement, as one line."""
    found = ""
    for text_ in program.split("\n")[line - 1 : line + 3]:
        found = f"{found} {text_.strip()}".strip()
        if ";" in text_:
            return found
    return f"{found} …"


def _column_width(signals: Sequence[Signal]) -> float:
    """Wide enough for the names of values, within bounds."""
    needed = [
        (width_of(value, _SIZE) + 12) / n_columns
        for signal in signals
        if not signal.is_bool
        for _, n_columns, value in signal.runs
    ]
    return min(_BROAD, max([_NARROW, *needed]))


def _fitting(words: str, width: float, size: float) -> str:
    if width_of(words, size) <= width:
        return words
    while words and width_of(words + "…", size) > width:
        words = words[:-1]
    return words + "…"
