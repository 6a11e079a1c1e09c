"""Model files that are no YAML, or use of it what models may not use."""

from __future__ import annotations

from tests.unit.model.malformed import ST, YAML, Edit

Cases = dict[str, tuple[list[Edit], list[str]]]


def _model(text: str) -> list[Edit]:
    return [(YAML, "", text)]


_DEEP = "a: " + "[" * 39 + "«[" + "]" * 40

TEXT: Cases = {
    "an empty file": (_model("«"), ["the file is empty"]),
    "only a comment": (_model("«# nothing\n"), ["the file is empty"]),
    "a word instead of a model": (_model("«hello\n"), ["expected a model"]),
    "a list instead of a model": (_model("«- title\n"), ["expected a model"]),
    "an open bracket": (_model("a: «[1,\nb: 2\n"), ["this bracket is never closed"]),
    "an open bracket at the end": (_model("a: «[1,\n"), ["this bracket is never closed"]),
    "an open bracket inside": (_model("a: {b: «[1, 2\n"), ["this bracket is never closed"]),
    "an open bracket after a closed one": (
        _model("a: «{b: [1], c: {d: 1},\n\n"),
        ["this bracket is never closed"],
    ),
    "an open quote": (_model("a: «'x\nb: 2\n"), ["this quote is never closed"]),
    "an open double quote": (_model('a: b\nc: «"x\nb: 2\n'), ["this quote is never closed"]),
    "a tab as indent": (_model("a:\n«\tb: 1\n"), ["not valid YAML"]),
    "two colons in one line": (_model("a: b«: c\n"), ["mapping values are not allowed"]),
    "a sign that starts nothing": (_model("a: «`b`\n"), ["cannot start any token"]),
    "an indent too deep": (_model("a: 1\n  b«: 2\n"), ["not valid YAML"]),
    "a key without a colon": (_model("a: 1\n«b\nc: 1\n"), ["could not find expected ':'"]),
    "a control character": (_model("«a: \x01\n".replace("«a: ", "a: «")), ["special characters"]),
    "an escaped control character": (_model('a: «"\\e[31m"\n'), ["U+001B"]),
    "half of a surrogate pair": (_model('a: «"\\ud800"\n'), ["U+D800"]),
    "a character that turns the line": (_model('a: «"\\u202e"\n'), ["U+202E"]),
    "an escape beyond every character": (_model('«a: "\\UFFFFFFFF"\n'), ["escape is out of range"]),
    "an anchor": (_model("a: «&x 1\n"), ["anchors and aliases"]),
    "an alias": (_model("a: «*x\n"), ["anchors and aliases"]),
    "an anchor at a list": (_model("a: «&x [1]\nb: *x\n"), ["anchors and aliases"]),
    "a tag": (_model("a: «!!python/name:os.system x\n"), ["tags"]),
    "a tag at a mapping": (_model("a: «!x {b: 1}\n"), ["tags"]),
    "a merge key": (_model("title: t\n«<<: {a: 1}\n"), ["merge keys"]),
    "a list as a key": (_model("? «[a]\n: b\n"), ["a key must be a word"]),
    "nothing as a key": (_model("«~: b\n"), ["a key must be a word"]),
    "a second document": (_model("a: 1\n«---\nb: 2\n"), ["holds one document"]),
    "a key given twice": (
        [(YAML, "title: A latch pin\n", "title: A latch pin\n«title: another\n")],
        ["'title' is given twice; first in line 1"],
    ),
    "a requirement given twice": (
        [(YAML, "  R1:", "  R1: {says: first, always: 'TRUE'}\n  «R1:")],
        ["'R1' is given twice; first in line 19"],
    ),
    "a key given three times": (
        _model("a: 1\n«a: 2\n«a: 3\n"),
        ["first in line 1", "first in line 1"],
    ),
    "nesting without end": (_model(_DEEP), ["nested more than 40 levels deep"]),
    "a program that is empty": (
        [(YAML, "controller: controller.st", "controller: «controller.st"), (ST, "", "")],
        ["there is no PROGRAM"],
    ),
    "a program that does not parse": (
        [(ST, "pull := held;", "pull «= held;")],
        ["'=' compares; use ':='"],
    ),
    "a program with an unknown name": (
        [(ST, ":= held;", ":= «holt;")],
        ["'holt' is not declared"],
    ),
}
