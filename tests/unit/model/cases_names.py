"""Model files whose names, expressions, files or revisions do not fit together."""

from __future__ import annotations

from tests.unit.model.malformed import MODEL, PROGRAM, ST, YAML, Edit

Cases = dict[str, tuple[list[Edit], list[str]]]

_R1 = "never: pull AND NOT button, judged: after scan"


def _edit(old: str, new: str) -> list[Edit]:
    return [(YAML, old, new)]


def _fault(text: str) -> list[Edit]:
    return _edit("requirements:", f"faults:\n  {text}\nrequirements:")


# A program that counts into outputs, of which one is never zero.
_OUTPUTS = ["n : INT (0..5);", "m : INT (-3..2);", "k : INT (1..5);"]
COUNTING: list[Edit] = [(ST, "  pull : BOOL;", "  pull : BOOL;\n  " + "\n  ".join(_OUTPUTS))]

_NAMES: Cases = {
    "a bound without a response": (
        _edit(_R1, "never: pull, «within: 3 scans"),
        ["'within' goes with 'leads_to' only"],
    ),
    "a bound of another pattern": (
        _edit(_R1, "once: pull, at_least: 1 s, «every: 2 s"),
        ["'every' goes with 'recurs' only"],
    ),
    "a requirement in time without its time": (
        _edit("R1: {says: s, " + _R1, "«R1: {says: s, lasts: pull"),
        ["'lasts' needs a time: 'at_most: 500 ms'"],
    ),
    "a time in a model without": (
        _edit(_R1, "once: pull, at_least: «1 s"),
        ["'at_least' needs a model with time: 'run: {time: …}'"],
    ),
    "a requirement in time in scans": (
        _edit(_R1, "recurs: pull, every: «3 scans"),
        ["'3 scans' is no bound; write '500 ms' or '1.5 s'"],
    ),
    "a bound in time without the period of the scan": (
        _edit(_R1, "whenever: pull, leads_to: button, within: «500 ms"),
        ["a bound in time needs the period of the scan"],
    ),
    "a bound shorter than a scan": (
        [
            *_edit(_R1, "whenever: pull, leads_to: button, within: «50 ms"),
            *_edit("plant:", "run: {scan_ms: 100}\nplant:"),
        ],
        ["'50 ms' is 0 scans; a bound is a whole number from 1 to 1000"],
    ),
    "an unknown fault in what is expected": (
        _edit("plant:", "expected: {under: {«F1: [R1]}}\nplant:"),
        ["'F1' is not a fault"],
    ),
    "an unknown requirement in what is expected under a fault": (
        [
            *_fault("F1: {says: torn, sensor: held, stuck: 'FALSE'}"),
            *_edit("plant:", "expected: {under: {F1: [«R2]}}\nplant:"),
        ],
        ["'R2' is not a requirement; known: R1"],
    ),
    "one duration where two are wanted": (
        _edit("when: NOT pull}", "when: NOT pull, seconds: «[1]}"),
        ["expected at least 2 of them, found 1"],
    ),
    "a bound without a unit": (
        _edit(_R1, "whenever: pull, leads_to: button, within: «300"),
        ["'300' is no bound; write '3 scans', '500 ms' or '1.5 s'"],
    ),
    "a bound of half a scan": (
        _edit(_R1, "whenever: pull, leads_to: button, within: «1.5 scans"),
        ["'1.5 scans' is 1.5 scans"],
    ),
    "a delay from nowhere": (
        _edit("held: {reads: button}", "held: {reads: button, delay_ms: «20}"),
        ["a delay needs its 'delay_source', or 'delay_assumed: true'"],
    ),
    "a move's duration the wrong way round": (
        _edit("when: NOT pull}", "when: NOT pull, seconds: «[3, 2], assumed: true}"),
        ["the least duration is longer than the greatest"],
    ),
    "a move's duration from nowhere": (
        _edit("when: NOT pull}", "when: NOT pull, seconds: «[2, 3]}"),
        ["a duration needs its 'source', or 'assumed: true'"],
    ),
    "an unknown name in a guard": (
        _edit("when: NOT pull", "when: NOT «pul"),
        ["'pul' is not declared; did you mean 'pull'?"],
    ),
    "an unknown name in a quoted guard": (
        _edit("when: NOT pull", "when: 'NOT «pul'"),
        ["'pul' is not declared"],
    ),
    "an unknown name in a quoted requirement": (
        _edit("never: pull AND NOT button,", "never: '«pul',"),
        ["'pul' is not declared"],
    ),
    "an unknown name in a folded guard": (
        _edit(
            "      - {from: out, to: in, when: NOT pull}",
            "      - from: out\n        to: in\n        when: >- # pul is wrong\n"
            "          NOT pull AND\n          NOT «pul",
        ),
        ["'pul' is not declared"],
    ),
    "an unknown name at the head of a literal guard": (
        _edit("  locked: pin = in", "  locked: |\n    «pn = in"),
        ["'pn' is not declared"],
    ),
    "an unknown name in the second line of a plain text": (
        _edit("  locked: pin = in", "  locked: pin = in\n    OR «pn = in"),
        ["'pn' is not declared"],
    ),
    "an expression that does not parse": (
        _edit("when: NOT pull", "when: NOT «AND pull"),
        ["unexpected 'AND'"],
    ),
    "an expression that ends too soon": (
        _edit("  locked: pin = in", "  locked: pin =«"),
        ["unexpected end of the expression"],
    ),
    "another language's sign": (
        _edit("  locked: pin = in", "  locked: pin «== in"),
        ["use '=' to compare"],
    ),
    "a guard that may divide by zero": (
        [*COUNTING, *_edit("when: NOT pull", "when: NOT pull AND 10 / «n > 2")],
        ["may divide by zero: n may be 0..5; MAX(n, 1) is never 0"],
    ),
    "a term that may divide by zero, whatever stands before it": (
        [*COUNTING, *_edit("  locked: pin = in", "  locked: n <> 0 AND 7 / («n - m) = 1")],
        ["may divide by zero: n - m may be -2..8"],
    ),
    "a sensor that may divide by zero": (
        [*COUNTING, *_edit("{reads: button}", "{reads: 'button AND 7 / «m < n'}")],
        ["may divide by zero: m may be -3..2"],
    ),
    "a requirement that may divide by zero": (
        [
            *COUNTING,
            *_edit("never: pull AND NOT button,", "never: 1 / «n = 1, when: 1 / («0 - n) = 1,"),
        ],
        ["may divide by zero: n may be 0..5", "may divide by zero: 0 - n may be -5..0"],
    ),
    "a division by zero": (
        _edit("when: NOT pull", "when: 10 / «0 > 2"),
        ["division by zero"],
    ),
    "a machine for a BOOL": (
        _edit("when: NOT pull", "when: NOT «pin"),
        ["is of type pin; expected BOOL"],
    ),
    "a state of another machine": (
        _edit("  locked: pin = in", "  locked: pin = «shut"),
        ["'shut' is neither declared nor"],
    ),
    "a number for a BOOL": (_edit("when: NOT pull", "when: «1"), ["expected BOOL"]),
    "brackets without end": (
        _edit("when: NOT pull", "when: " + "(" * 80 + "«" + "(" * 1000 + "pull" + ")" * 1080),
        ["nested too deeply"],
    ),
    "a chain of XOR without end": (
        _edit("when: NOT pull", "when: " + "pull XOR " * 361 + "«" + "pull XOR " * 79 + "pull"),
        ["nested too deeply"],
    ),
    "a move from an unknown state": (
        _edit("{from: out, to", "{from: «oot, to"),
        ["'oot' is not a state; did you mean 'out'?"],
    ),
    "a move from a list with an unknown state": (
        _edit("{from: out, to", "{from: [out, «oot], to"),
        ["'oot' is not a state"],
    ),
    "a move from the same state twice": (
        _edit("{from: out, to", "{from: [out, «OUT], to"),
        ["'OUT' is given twice"],
    ),
    "a move to an unknown state": (
        _edit("to: in, when", "to: «inn, when"),
        ["'inn' is not a state; did you mean 'in'?"],
    ),
    "a state given twice": (_edit("[in, out]", "[in, out, «In]"), ["'In' is given twice"]),
    "an unknown initial state": (
        _edit("[in, out]\n", "[in, out]\n    initial: «half\n"),
        ["'half' is not a state"],
    ),
    "a state that is a reserved word": (
        _edit("[in, out]", "[in, out, «NOT]"),
        ["'NOT' is a reserved word"],
    ),
    "a machine that is a reserved word": (
        _edit("controls:\n", "controls:\n  «if: {}\n"),
        ["'if' is a reserved word"],
    ),
    "an unknown initial position": (
        _edit("{says: the button}", "{initial: «half}"),
        ["'half' is not a state"],
    ),
    "an unknown released position": (
        _edit("controls:\n", "controls:\n  key: {positions: [A, B], released: «C}\n"),
        ["'C' is not a state"],
    ),
    "a position given twice": (
        _edit("controls:\n", "controls:\n  key: {positions: [A, «a]}\n"),
        ["'a' is given twice"],
    ),
    "another machine that is none": (
        _edit("when: NOT pull}", "when: NOT pull, also: {«pim: in}}"),
        ["did you mean 'pin'?"],
    ),
    "the machine itself as another": (
        _edit("when: NOT pull}", "when: NOT pull, also: {«pin: in}}"),
        ["moves by 'to'"],
    ),
    "an expression that is torn apart at its commas": (
        _edit("when: NOT pull}", "when: NOT pull, also: {pin: «SEL(pull, in, out)}}"),
        ["an expression with a comma needs quotes here: 'SEL(pull, …'"],
    ),
    "another machine's unknown state": (
        _edit(
            "controls:\n",
            "  door:\n    states: [open, shut]\n    moves:\n"
            "      - {from: open, to: shut, also: {pin: «shut}}\ncontrols:\n",
        ),
        ["'shut' is no value of pin"],
    ),
    "a move called as interlock calls its own": (
        _edit("when: NOT pull}", "when: NOT pull, name: «scan}"),
        ["reads like a move of interlock"],
    ),
    "a move called like a fault that strikes": (
        _edit("when: NOT pull}", "when: NOT pull, name: «F1 strikes}"),
        ["choose another name"],
    ),
    "a sensor that is no input": (
        [(YAML, "  held: {", "  «hold: {")],
        ["'hold' is not a VAR_INPUT of the program; did you mean 'held'?"],
    ),
    "a sensor given twice in other letters": (
        _edit("  held: {", "  «PIN_IN: {reads: pin = in}\n  held: {"),
        ["is taken by 'sensors'"],
    ),
    "a sensor that reads a state": (_edit("{reads: button}", "{reads: «pin}"), ["expected BOOL"]),
    "a pair with an unknown sensor": (
        _edit("{reads: button}", "{reads: button, pair: «pin_im}"),
        ["did you mean 'pin_in'?"],
    ),
    "a pair with itself": (
        _edit("{reads: button}", "{reads: button, pair: «held}"),
        ["its own other channel"],
    ),
    "an output that is none": (
        _edit("terms:", "outputs:\n  «pul: {}\nterms:"),
        ["not a VAR_OUTPUT"],
    ),
    "a term of a machine's name": (
        _edit("  locked: pin", "  «PIN: pin"),
        ["the name 'PIN' is taken by 'plant' in line 4"],
    ),
    "a term of an output's name": (
        _edit("  locked: pin", "  «pull: pin"),
        ["taken by an output of the controller"],
    ),
    "a term that names itself": (
        _edit("  locked: pin = in", "  locked: «NOT locked"),
        ["terms define each other in a circle: locked -> locked"],
    ),
    "terms in a circle": (
        _edit("  locked: pin = in", "  a: b\n  b: NOT c\n  c: «a"),
        ["terms define each other in a circle: a -> b -> c -> a"],
    ),
    "terms that build on each other without end": (
        _edit(
            "  locked: pin = in",
            "".join(f"  t{n}: {'«' if n == 59 else ''}t{n + 1}\n" for n in range(400))
            + "  t400: pin = in",
        ),
        ["more than 60 deep"],
    ),
    "a requirement without a pattern": (
        _edit("R1: {says: s, " + _R1, "«R1: {says: s"),
        ["R1 needs exactly one pattern"],
    ),
    "a requirement with two patterns": (
        _edit("R1: {says: s, ", "«R1: {says: s, always: pull, "),
        ["given: never, always"],
    ),
    "half a pattern": (
        _edit("R1: {says: s, " + _R1, "«R1: {says: s, whenever: pull"),
        ["given: whenever"],
    ),
    "a condition where none can be": (
        _edit(_R1, "can_still: pull, «when: button"),
        ["'when' goes with 'never' or 'always'"],
    ),
    "half a scope": (
        _edit("judged: after scan", "«scope: {from: pull}"),
        ["a scope is before | after"],
    ),
    "a scope where none can be": (
        _edit(_R1, "can_still: pull, «scope: {after: pull}"),
        ["'can_still' takes no scope"],
    ),
    "a scope with an unknown name": (
        _edit("judged: after scan", "scope: {after: «pul}"),
        ["did you mean 'pull'?"],
    ),
    "a requirement that names a signal": (
        _edit("never: pull AND", "never: «held AND"),
        ["'held' is a signal, which may lie"],
    ),
    "a requirement that names a fault": (
        [
            *_edit("never: pull AND", "never: «F1 AND"),
            *_fault("F1: {says: it fails}"),
        ],
        ["'F1' is a fault"],
    ),
    "a requirement of a reserved name": (
        _edit("  R1: {", "  «ARITHMETIC: {"),
        ["interlock adds itself"],
    ),
    "an unknown hazard": (
        _edit("judged: after scan", "hazards: [H1, «H2]"),
        ["'H2' is not a hazard"],
    ),
    "an unknown machine in the map": (_edit("hazards:", "map: [«pn]\nhazards:"), ["'pn' is not a"]),
    "an unsafe state with an unknown name": (
        _edit("hazards:", "unsafe: «pn = in\nhazards:"),
        ["'pn' is not declared"],
    ),
    "an expectation of an unknown requirement": (
        _edit("plant:", "expected: {violated: [«R2]}\nplant:"),
        ["'R2' is not a requirement"],
    ),
    "a fault of an unknown sensor": (
        _fault("F1: {says: s, sensor: «pin_im, stuck: TRUE}"),
        ["did you mean 'pin_in'?"],
    ),
    "a fault of an unknown output": (
        _fault("F1: {says: s, output: «pul, stuck: TRUE}"),
        ["'pul' is not an output"],
    ),
    "a fault without its way": (_fault("«F1: {says: s, sensor: held}"), ["'stuck' is missing"]),
    "a fault stuck nowhere": (_fault("«F1: {says: s, stuck: TRUE}"), ["'stuck' needs a 'sensor'"]),
    "a fault that jams an unknown state": (
        _fault("F1: {says: s, machine: pin, jams_in: [«half]}"),
        ["'half' is not a state"],
    ),
    "a fault of a machine's name": (_fault("«Pin: {says: s}"), ["taken by 'plant'"]),
    "a figure without its source": (_fault("«F1: {says: s, rate: 1e-6}"), ["needs its 'source'"]),
    "a number stuck": (
        [
            *_fault("F1: {says: s, sensor: «n, stuck: TRUE}"),
            (YAML, "  held: {", "  n: {reads: 'SEL(button, 0, 1)'}\n  held: {"),
            (ST, "held : BOOL;", "held : BOOL;\n  n : INT (0..1);"),
        ],
        ["only a BOOL can be stuck"],
    ),
}

_FILES: Cases = {
    "a program that is not there": (
        _edit("controller: controller.st", "controller: «control.st"),
        ["no such file: control.st; did you mean 'controller.st'?"],
    ),
    "a program in the folder above": (
        _edit("controller: controller.st", "controller: «../controller.st"),
        ["own folder"],
    ),
    "a program anywhere": (
        _edit("controller: controller.st", "controller: «/etc/passwd"),
        ["own folder"],
    ),
    "a folder for a program": (
        [(YAML, "controller: controller.st", "controller: «sub"), ("sub/x", "", "")],
        ["there is no program in it"],
    ),
    "a program of a name without end": (
        _edit("controller: controller.st", "controller: «" + "x" * 1000),
        ["cannot be read"],
    ),
}


def _revision(text: str, *more: Edit) -> list[Edit]:
    """The small model moved to base/, and a revision of it in its place."""
    base: list[Edit] = [("base/model.yaml", "", MODEL), ("base/controller.st", "", PROGRAM)]
    return [(YAML, "", text), *base, *more]


_AT = {1: "", 2: "", 3: "", 4: "«", 5: ""}

_REVISIONS: Cases = {
    "a revision of nothing": (_revision("revises: «''\n"), ["a folder relative to this one"]),
    "a revision of a folder that is not there": (
        _revision("revises: «bse\n"),
        ["no such file: bse/model.yaml; did you mean 'base'?"],
    ),
    "a revision of an absolute folder": (
        _revision("revises: «/base\n"),
        ["a folder relative to this one"],
    ),
    "a revision of itself": (_revision("revises: «.\n"), ["in a circle"]),
    "revisions in a circle": (
        _revision(
            "revises: a\n",
            ("a/model.yaml", "", "revises: ../b\n"),
            ("b/model.yaml", "", "revises: «../a\n"),
        ),
        ["in a circle: '../a' leads back"],
    ),
    "revisions of revisions of revisions": (
        _revision(
            "revises: r1\n",
            *((f"r{n}/model.yaml", "", f"revises: {_AT[n]}../r{n + 1}\n") for n in range(1, 6)),
        ),
        ["may be 4 deep at most"],
    ),
    "a revision with an unknown section": (
        _revision("revises: base\n«terns: {}\n"),
        ["did you mean 'terms'?"],
    ),
    "a revision with a wrong entry": (
        _revision("revises: base\nrequirements:\n  «R2: {never: pull}\n"),
        ["'says' is missing"],
    ),
    "a revision that removes what is not there": (
        _revision("revises: base\nrequirements:\n  «R3: ~\n"),
        ["nothing to remove: the revised model's 'requirements' has no 'R3'"],
    ),
    "a revision that removes everything": (
        _revision("«revises: base\nrequirements: ~\n"),
        ["'requirements' is missing"],
    ),
    "a revision that removes what others use": (
        _revision(
            "revises: base\nterms: {locked: ~}\nrequirements:\n  R2: {says: s, always: «locked}\n"
        ),
        ["'locked' is not declared"],
    ),
    "a mistake in a revision's guard": (
        _revision("revises: base\nterms:\n  locked: >\n    pin = in AND\n    «pn = in\n"),
        ["'pn' is not declared"],
    ),
    "a mistake in the revised model": (
        [*_revision("revises: base\n"), ("base/model.yaml", "when: NOT pull", "when: NOT «pul")],
        ["'pul' is not declared"],
    ),
    "a mistake of shape in the revised model": (
        [*_revision("revises: base\n"), ("base/model.yaml", "says: s,", "«neverr: x, says: s,")],
        ["did you mean 'never'?"],
    ),
    "an inherited requirement that lost its name": (
        [
            *_revision(
                "revises: base\nplant:\n  pin: ~\n  bolt: {states: [in, out]}\nterms: ~\n"
                "sensors:\n  pin_in: {reads: bolt = in}\n"
            ),
            ("base/model.yaml", "never: pull AND", "never: «pin = in AND"),
        ],
        ["'pin' is not declared"],
    ),
    "a revision's program that is not its own": (
        _revision("revises: base\ncontroller: «base/controller.st\n"),
        ["own folder"],
    ),
    "a revision's program that is missing": (
        [(YAML, "", "revises: base\ncontroller: «other.st\n"), *_revision("")[1:]],
        ["no such file: other.st"],
    ),
    "an inherited program with a mistake": (
        [*_revision("revises: base\n"), ("base/controller.st", ":= held", ":= «hold")],
        ["'hold' is not declared"],
    ),
}

NAMES: Cases = {**_NAMES, **_FILES, **_REVISIONS}
