"""Model files with unknown keys, missing keys and values of the wrong kind."""

from __future__ import annotations

from tests.unit.model.malformed import YAML, Edit

Cases = dict[str, tuple[list[Edit], list[str]]]

_PIN = "  pin_in: {reads: pin = in}"
_R1 = "{says: s, never: pull AND NOT button, judged: after scan}"


def _edit(old: str, new: str) -> list[Edit]:
    return [(YAML, old, new)]


def _fault(text: str) -> list[Edit]:
    return _edit("requirements:", f"faults:\n{text}\nrequirements:")


SHAPE: Cases = {
    "no title": (_edit("title: A latch pin\n", "«"), ["'title' is missing"]),
    "no controller": (
        _edit("title: A latch pin\ncontroller: controller.st\n", "«title: A latch pin\n"),
        ["'controller' is missing"],
    ),
    "an unknown section": (
        _edit("terms:", "«tems:"),
        ["'tems' is not known here; did you mean 'terms'?"],
    ),
    "an unknown key of a machine": (
        _edit("    states:", "    «inital: in\n    states:"),
        ["did you mean 'initial'?"],
    ),
    "an unknown key of a move": (
        _edit("when: NOT pull", "«wen: NOT pull"),
        ["did you mean 'when'?"],
    ),
    "an unknown key of a requirement": (_edit("judged:", "«juged:"), ["did you mean 'judged'?"]),
    "an unknown key of a scope": (
        _edit("judged: after scan", "scope: {«untill: pull}"),
        ["did you mean 'until'?"],
    ),
    "a move without its target": (
        _edit("- {from: out, to: in, when", "- «{from: out, when"),
        ["'to' is missing"],
    ),
    "a machine without states": (
        _edit("  pin:\n    states: [in, out]\n", "  «pin:\n"),
        ["'states' is missing"],
    ),
    "a machine with no state": (_edit("[in, out]", "«[]"), ["expected at least 1 of them"]),
    "a requirement without words": (
        _edit("  R1: {says: s, never", "  «R1: {never"),
        ["'says' is missing"],
    ),
    "a sensor whose 'reads' is misspelled": (
        _edit(_PIN, "  pin_in: {«read: pin = in}"),
        ["'read' is not known here; did you mean 'reads'?"],
    ),
    "a word for a mapping": (_edit("{says: the button}", "«pressed"), ["expected a mapping, not"]),
    "a list for a mapping": (_edit("{reads: button}", "«[button]"), ["expected a mapping, not"]),
    "nothing for a mapping": (_edit(" {says: the button}", " «~"), ["a mapping, not nothing"]),
    "nothing after a key": (
        [(YAML, "controls:\n  button: {says: the button}\n", "controls:«   # none\n\n")],
        ["expected a mapping, not nothing"],
    ),
    "nothing after a key before another": (
        [(YAML, "  button: {says: the button}\n", "  button:«\n\n  lever: {}\n")],
        ["a mapping, not nothing"],
    ),
    "nothing in a list": (
        _edit("controls:", "assumptions:\n  - a\n  -«  # b\n  - c\ncontrols:"),
        ["expected a text, not nothing"],
    ),
    "a mapping for a text": (_edit("title: A latch pin", "title: «{a: b}"), ["expected a text"]),
    "a mapping for a list": (
        _edit("controls:", "assumptions: «{a: b}\ncontrols:"),
        ["expected a list, not a mapping"],
    ),
    "a word that is not among the choices": (
        _edit("judged: after scan", "judged: «sometimes"),
        ["expected 'every state' or 'after scan'"],
    ),
    "a lamp of a colour that no lamp has": (
        _edit("terms:", "outputs:\n  pull: {lamp: «orange}\nterms:"),
        ["expected 'red', 'yellow'"],
    ),
    "a number that is none": (
        _edit("plant:", "run: {scan_ms: «two}\nplant:"),
        ["a whole number, not 'two'"],
    ),
    "moves that are limited in no known way": (
        _edit("plant:", "run: {between_scans: «each twice}\nplant:"),
        ["'each once' or 'any number', not 'each twice'"],
    ),
    "moves counted by the key of before": (
        _edit("plant:", "run: {«moves_per_scan: 2}\nplant:"),
        ["'moves_per_scan' is now called 'between_scans': one in all, two in all"],
    ),
    "a number too small": (
        _edit("plant:", "run: {scan_ms: «0}\nplant:"),
        ["at least 1, not '0'"],
    ),
    "a number too great": (
        _edit("judged: after scan", "survives: «10"),
        ["expected at most 9, not '10'"],
    ),
    "a rate that is not finite": (
        _fault("  F1: {says: s, rate: «inf, assumed: true}"),
        ["expected a number, not 'inf'"],
    ),
    "a rate that is a word": (
        _fault("  F1: {says: s, rate: «high, assumed: true}"),
        ["expected a number, not 'high'"],
    ),
    "a truth that is none": (
        _edit("terms:", "outputs:\n  pull: {sounds: «perhaps}\nterms:"),
        ["expected TRUE or FALSE"],
    ),
    "an empty expression": (_edit("when: NOT pull", "when: «''"), ["at least 1 character"]),
    "an expression without end": (
        _edit("when: NOT pull", "when: «" + "pull OR " * 600 + "pull"),
        ["at most 4000 characters"],
    ),
    "a name with a hyphen": (
        _edit("  locked: pin", "  «locked-up: pin"),
        ["'locked-up' is not a name"],
    ),
    "a state that begins with a digit": (
        _edit("[in, out]", "[in, out, «2nd]"),
        ["'2nd' is not a name"],
    ),
    "a name without end": (_edit("  locked:", f"  «{'x' * 61}:"), ["at most 60 characters"]),
    "too many states": (
        _edit("[in, out]", "«[in, out, " + ", ".join(f"s{n}" for n in range(63)) + "]"),
        ["expected at most 64 of them"],
    ),
    "several at once": (
        [(YAML, "[in, out]", "«in"), (YAML, _R1, _R1.replace("judged", "«jud"))],
        ["expected a list, not 'in'", "did you mean 'judged'?"],
    ),
}
