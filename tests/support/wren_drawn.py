"""The demo vehicle's program drawn: in ladder, and in blocks with a chart; made from its text.

``python -m tests.support.wren_drawn`` writes both anew, after the text was changed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from interlock.exchange.writing.files import write_exchange
from interlock.st import syntax as sx
from interlock.st.parser import parse_expression, parse_file

MODELS = Path(__file__).parents[2] / "models"
TEXT = MODELS / "wren" / "controller.st"
LADDER = MODELS / "wren-changed" / "drawn-in-ladder" / "controller.xml"
BLOCKS = MODELS / "wren-changed" / "drawn-in-blocks" / "controller.xml"
# What the conversion needs anew after each stop: the chart has its two states.
_MEMORY = "armed"
_CHART = """FUNCTION_BLOCK Arming
VAR_INPUT
  disarm : BOOL;  (* something stops the conversion *)
  rearm  : BOOL;  (* every button was seen released *)
END_VAR
INITIAL_STEP Stopped: END_STEP
STEP Ready: END_STEP
TRANSITION FROM Stopped TO Ready := rearm AND NOT disarm; END_TRANSITION
TRANSITION FROM Ready TO Stopped := disarm; END_TRANSITION
END_FUNCTION_BLOCK
"""


def drawn() -> Mapping[Path, str]:
    """The files, by their places."""
    text = TEXT.read_text(encoding="utf-8")
    file = parse_file(text, TEXT.name)
    texts = {TEXT.name: text}
    ladder = write_exchange([file], file.units[0].name, drawn="ladder", texts=texts)
    with_chart = replace(file, units=(*parse_file(_CHART, "chart").units, _charted(file.units[0])))
    blocks = write_exchange([with_chart], file.units[0].name, drawn="blocks", texts=texts)
    return {LADDER: ladder.text, BLOCKS: blocks.text}


def _charted(unit: sx.Unit) -> sx.Unit:
    """The program with a chart in place of the IF that keeps `_MEMORY`."""
    at, memory = next(
        (n, s) for n, s in enumerate(unit.body) if isinstance(s, sx.If) and _keeps(s, _MEMORY)
    )
    place = memory.place
    given = tuple(
        sx.InputArgument(name, branch.condition, place)
        for name, branch in zip(("disarm", "rearm"), memory.branches, strict=True)
    )
    call = sx.Invoke(sx.Name("arming", place), given, (), place)
    is_ready = parse_expression("arming.Ready.X", locate=lambda _: place)
    kept = sx.Assign(sx.Name(_MEMORY, place), is_ready, place)
    type_ = sx.TypeRef("Arming", None, None, place)
    instance = sx.Declaration("VAR", False, (sx.Name("arming", place),), type_, None, place)
    declarations = (*unit.declarations, instance)
    body = (*unit.body[:at], call, kept, *unit.body[at + 1 :])
    return replace(unit, body=body, declarations=declarations)


def _keeps(s: sx.If, name: str) -> bool:
    """Whether a statement clears a variable by its first condition, and sets it by its second."""
    values = [
        a.value.value
        for branch in s.branches
        for a in branch.body
        if isinstance(a, sx.Assign)
        and isinstance(a.target, sx.Name)
        and a.target.text == name
        and isinstance(a.value, sx.Truth)
    ]
    return values == [False, True] and not s.otherwise and len(s.branches) == 2


if __name__ == "__main__":
    for path, content in drawn().items():
        path.parent.mkdir(exist_ok=True)
        path.write_text(content, encoding="utf-8")
        print(path)
