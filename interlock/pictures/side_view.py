"""The side view of a model in one state: its own drawing, or a neutral schematic.

A picture is self-contained: no style sheet, no script, no reference to anything outside of it.
The same state gives the same bytes, and its ids begin with a prefix of the caller's choice, so
that several can be in one page.
"""

from __future__ import annotations

from collections.abc import Mapping

from interlock.independent_judge.values import Values
from interlock.model.model import Model
from interlock.pictures.moving import Moving, chosen
from interlock.pictures.schematic import WIDTH, draw_schematic
from interlock.pictures.style import INK
from interlock.pictures.svg import element, number, picture, size_within, text
from interlock.pictures.truth import Reader, Value, types_of
from interlock.st.types import BoolType, label_of

_CAPTION = 30.0  # the height of the title above a drawing


class SideView:
    """Draws the states of one model; one without a drawing of its own as a schematic.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self._reader = Reader(model)
        self._types = types_of(model)
        self._moving = None if model.side_view is None else Moving(model.side_view)

    def draw(
        self,
        values: Mapping[str, Value],
        *,
        title: str,
        prefix: str = "",
        caption: bool = True,
    ) -> str:
        """The state as SVG text.

        Parameters
        ----------
        values : mapping of str to Value
            Of every machine, control and output, by name in any case, as numbers or as labels
            (``Player.seen()`` gives them). A fault that is not given has not struck.
        title : str
            One line, such as ``"Step 7: the pins leave the body"``.
        prefix : str
            Before each id in the picture; letters, digits, - and _.
        caption : bool
            Whether the title is drawn, too, and not only told to who cannot see the picture.

        Raises
        ------
        KeyError
            Where a value is missing, or one that the machine or output cannot have.
        """
        truth = self._reader.read(values)
        says = " ".join(_sentence(words) for words in self._words(truth))
        if self._moving is None:
            height, parts = draw_schematic(self._model, truth, title if caption else "")
            return picture(WIDTH, height, parts, title=title, says=says, prefix=prefix)
        left, top, width, height = self._moving.box
        parts = [self._moving.draw(truth, prefix)]
        if caption:
            top, height = top - _CAPTION, height + _CAPTION
            size = size_within(title, width - 24, 16)
            y = top + _CAPTION / 2 + 5
            head = text(left + 12, y, title, font_size=size, font_weight="bold", fill=INK)
            parts.insert(0, head)
        corner = (left, top)
        return picture(width, height, parts, title=title, says=says, prefix=prefix, corner=corner)

    @property
    def aspect(self) -> float:
        """The width of an inset by its height."""
        if self._moving is not None:
            return self._moving.window[2] / self._moving.window[3]
        anything = self._reader.read(dict.fromkeys(self._types, 0))
        return WIDTH / draw_schematic(self._model, anything, "")[0]

    def inset(
        self, values: Mapping[str, Value], x: float, y: float, width: float, prefix: str
    ) -> str:
        """The state as a part of a larger picture; its height follows from `aspect`.

        Parameters
        ----------
        values : mapping of str to Value
            As for `draw`.
        x, y, width : float
            Where it stands and how wide it is; of a drawing, what the model calls its window.
        prefix : str
            Before each id in it.
        """
        truth = self._reader.read(values)
        if self._moving is None:
            shown_height, parts = draw_schematic(self._model, truth, "")
            box = (0.0, 0.0, WIDTH, shown_height)
        else:
            box, parts = self._moving.window, [self._moving.draw(truth, prefix)]
        height = width * box[3] / box[2]
        shown = " ".join(map(number, box))
        return element("svg", *parts, x=x, y=y, width=width, height=height, viewBox=shown)

    def words(self, values: Mapping[str, Value]) -> tuple[str, ...]:
        """The state in words: an entry for each machine and control, then the outputs."""
        return tuple(self._words(self._reader.read(values)))

    def _words(self, truth: Values) -> list[str]:
        told: dict[str, str] = {}
        moving = self._model.side_view
        for choice in () if moving is None else moving.words:
            told[choice.formula.text.casefold()] = chosen(choice, truth)
        found, on = [words for words in told.values() if words], []
        for name, type_ in self._types.items():
            label = label_of(type_, truth[name.casefold()])
            if name.casefold() in told:
                continue
            if name in self._model.outputs and isinstance(type_, BoolType):
                on += [name] if label == "TRUE" else []
            else:
                machine = self._model.machines.get(name)
                found.append(f"{(machine.says if machine else '') or name}: {label}")
        found.append(f"Outputs on: {', '.join(on) or 'none'}")
        if moving is not None and moving.drawing.says:
            found.append(moving.drawing.says)
        return found


def _sentence(words: str) -> str:
    return words if words.endswith((".", "!", "?")) else f"{words}."
