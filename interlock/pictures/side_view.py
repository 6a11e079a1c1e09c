"""The side view of a model in one state: its own drawing, or a neutral schematic.

A picture is self-contained: no style sheet, no script, no reference to anything outside of it.
The same state gives the same bytes, and its ids begin with a prefix of the caller's choice, so
that several can be in one page.
"""

from __future__ import annotations

from collections.abc import Mapping

from interlock.model.model import Model
from interlock.pictures.schematic import WIDTH, draw_schematic
from interlock.pictures.svg import picture
from interlock.pictures.truth import Reader, Truth, Value, types_of
from interlock.st.types import EnumType, label_of


class SideView:
    """Draws the states of one model.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self._reader = Reader(model)
        self._types = types_of(model)

    def draw(self, values: Mapping[str, Value], *, title: str, prefix: str = "") -> str:
        """The state as SVG text.

        Parameters
        ----------
        values : mapping of str to Value
            Of every machine, control and output, by name in any case, as numbers or as labels
            (``Player.seen()`` gives them). A fault that is not given has not struck.
        title : str
            One line, such as ``"Step 7: the pins leave the body"``.
        prefix : str
            Before each id in the picture.

        Raises
        ------
        KeyError
            Where a value is missing.
        """
        truth = self._reader.read(values)
        height, parts = draw_schematic(self._model, truth, title)
        says = ". ".join(self._words(truth)) + "."
        return picture(WIDTH, height, parts, title=title, says=says, prefix=prefix)

    def words(self, values: Mapping[str, Value]) -> tuple[str, ...]:
        """The state in words, one entry for each machine and control, then the outputs."""
        return tuple(self._words(self._reader.read(values)))

    def _words(self, truth: Truth) -> list[str]:
        found, on = [], []
        for name, type_ in self._types.items():
            label = label_of(type_, truth[name.casefold()])
            if name in self._model.outputs and not isinstance(type_, EnumType):
                on += [name] if label == "TRUE" else []
            else:
                says = getattr(self._model.machines.get(name), "says", "")
                found.append(f"{says or name}: {label}")
        return [*found, f"outputs on: {', '.join(on) or 'none'}"]


def load_side_view(model: Model) -> SideView:
    """The side view of `model`; one without a drawing of its own gets the schematic."""
    return SideView(model)
