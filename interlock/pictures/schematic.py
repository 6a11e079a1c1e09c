"""The neutral side view of a model that has no drawing: each machine with all its states.

The state that a machine is in is dark with white letters behind a pointer, so that place, shape
and text tell it as well as the shade.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from interlock.model.model import Machine, Model, Output
from interlock.pictures.style import INK, NEUTRAL_FILL, PALE, PAPER
from interlock.pictures.svg import element, path_through, size_within, text, width_of

_LEFT, _NAME, _RIGHT = 16.0, 170.0, 784.0
_ROW, _LINE = 26.0, 20.0
_SIZE = 12.0
# IEC 60073 names the colours; a lamp that is off is white with a bar through it.
LAMPS = {
    "red": "#d3162b",
    "yellow": "#f2b700",
    "green": "#1f9a4b",
    "blue": "#2a6fd6",
    "white": PAPER,
}
WIDTH = 800.0


def draw_schematic(model: Model, truth: Mapping[str, int], title: str) -> tuple[float, list[str]]:
    """The height of the schematic and its elements.

    Parameters
    ----------
    model : Model
    truth : mapping of str to int
        By casefolded name.
    title : str
    """
    sheet = _Sheet()
    if title:
        sheet.heading(title, size_within(title, _RIGHT - _LEFT, 15))
    plant = [machine for machine in model.machines.values() if not machine.is_control]
    controls = [machine for machine in model.machines.values() if machine.is_control]
    for heading, machines in (("Plant", plant), ("Controls", controls)):
        if machines:
            sheet.heading(heading, 12)
        for machine in machines:
            sheet.machine(machine, truth[machine.name.casefold()])
    lamps = [output for output in model.outputs.values() if output.lamp or output.sounds]
    others = [output for output in model.outputs.values() if output not in lamps]
    for heading, outputs in (("Lamps and alarms", lamps), ("Other outputs", others)):
        if outputs:
            sheet.heading(heading, 12)
            sheet.outputs(outputs, truth)
    return sheet.y + 8, sheet.parts


class _Sheet:
    """Rows from the top down; `y` is the lower edge of the last one."""

    def __init__(self) -> None:
        self.y = 4.0
        self.parts: list[str] = []

    def heading(self, words: str, size: float) -> None:
        self.y += 26
        self.parts.append(text(_LEFT, self.y - 6, words, font_size=size, font_weight="bold"))

    def machine(self, machine: Machine, value: int) -> None:
        self.parts.append(text(_LEFT, self.y + 17, machine.name, font_size=_SIZE))
        x = _NAME
        for number, state in enumerate(machine.states):
            wide = width_of(state, _SIZE) + 30
            if x + wide > _RIGHT and x > _NAME:
                x = _NAME
                self.y += _ROW
            self.parts += _box(x, self.y + 3, wide, state, number == value)
            x += wide + 5
        room = _RIGHT - x - 8
        if machine.says and width_of(machine.says, 11) <= room:
            y = self.y + 17
            self.parts.append(
                text(_RIGHT, y, machine.says, font_size=11, text_anchor="end", fill=PALE)
            )
        self.y += _ROW

    def outputs(self, outputs: list[Output], truth: Mapping[str, int]) -> None:
        x = _LEFT
        for output in outputs:
            value = truth[output.name.casefold()]
            # 'on' stands in bold letters.
            wide = max(width_of(f"{output.name} {word}", _SIZE) for word in ("off", "on  ")) + 42
            if x + wide > _RIGHT and x > _LEFT:
                x = _LEFT
                self.y += _ROW
            self.parts += _output(x, self.y + 3, output, value)
            x += wide
        self.y += _ROW


def _box(x: float, y: float, wide: float, state: str, is_here: bool) -> Iterator[str]:
    fill, ink, line = (INK, PAPER, 2.0) if is_here else (NEUTRAL_FILL, PALE, 0.8)
    yield element(
        "rect",
        x=x,
        y=y,
        width=wide,
        height=_LINE,
        rx=3,
        fill=fill,
        stroke=INK if is_here else PALE,
        stroke_width=line,
    )
    if is_here:
        pointer = path_through((x + 6, y + 5), (x + 14, y + 10), (x + 6, y + 15))
        yield element("path", d=pointer, fill=PAPER)
    weight = "bold" if is_here else None
    yield text(
        x + wide / 2 + 4,
        y + 14.5,
        state,
        font_size=_SIZE,
        text_anchor="middle",
        fill=ink,
        font_weight=weight,
    )


def _output(x: float, y: float, output: Output, value: int) -> Iterator[str]:
    fill = LAMPS.get(output.lamp or "", INK) if value else PAPER
    middle_x, middle_y = x + 9, y + 10
    if output.lamp:
        yield element("circle", cx=middle_x, cy=middle_y, r=7, fill=fill, stroke=INK)
    else:
        yield element("rect", x=x + 2, y=y + 3, width=14, height=14, fill=fill, stroke=INK)
    if value and output.lamp:
        # Rays: the lamp shines in black and white, too.
        yield element("path", d=_rays(middle_x, middle_y), stroke=INK, fill="none")
    elif not value:
        bar = path_through((middle_x - 5, middle_y + 5), (middle_x + 5, middle_y - 5))
        yield element("path", d=bar, stroke=PALE, fill="none")
    words = f"{output.name} {'on' if value else 'off'}"
    weight = "bold" if value else None
    yield text(x + 24, y + 14.5, words, font_size=_SIZE, font_weight=weight)


def _rays(x: float, y: float) -> str:
    ends = ((0, -1), (0, 1), (-1, 0), (1, 0), (-0.7, -0.7), (0.7, 0.7), (-0.7, 0.7), (0.7, -0.7))
    return "".join(
        path_through((x + 8.5 * dx, y + 8.5 * dy), (x + 11 * dx, y + 11 * dy)) for dx, dy in ends
    )
