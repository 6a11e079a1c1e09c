"""A model whose every text tries something, and whose every name is as long as a name may be."""

from __future__ import annotations

from pathlib import Path

from tests.support.gate import written

LONGEST = "W" * 59
CONTROL = f"{LONGEST}2"


def hostile(folder: Path, text: str) -> Path:
    """Write the model with `text` wherever a model has words, and return its folder."""
    quoted = "'" + text.replace("'", "''") + "'"
    return written(
        folder,
        f"title: {quoted}\nsays: {quoted}\ncontroller: controller.st\n"
        f"assumptions: [{quoted}]\ncautions: [{quoted}]\n"
        "plant:\n"
        f"  {LONGEST}:\n    says: {quoted}\n    states: [a, {LONGEST}1]\n    moves:\n"
        f"      - {{from: a, to: {LONGEST}1, when: q, says: {quoted}}}\n"
        f"      - {{from: {LONGEST}1, to: a, by: operator, name: {quoted}, when: NOT q, "
        f"says: {quoted}}}\n"
        f"controls:\n  {CONTROL}: {{says: {quoted}}}\n"
        f"sensors:\n  p: {{reads: {CONTROL}, says: {quoted}}}\n"
        f"outputs:\n  q: {{lamp: red, says: {quoted}}}\n"
        f"hazards:\n  H: {{says: {quoted}}}\n"
        f"requirements:\n  R: {{says: {quoted}, never: q, hazards: [H]}}\n"
        f"faults:\n  F: {{says: {quoted}, sensor: p, stuck: TRUE}}\n",
        "PROGRAM c VAR_INPUT p : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR\n"
        f"q := p; (* {text} *)\nEND_PROGRAM\n",
    )
