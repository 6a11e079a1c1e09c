"""Whole files: units, types, globals and configurations, and what an export puts round them."""

from __future__ import annotations

import re

from interlock.base.errors import InputError, Mistake, Place
from interlock.st import syntax as sx
from interlock.st.cursor import EndOfReadingError, Locate, UnexpectedTokenError, near_word
from interlock.st.parse_units import UnitParser
from interlock.st.words import ENDS, OPERATOR_WORDS, RESERVED, SECTIONS, SOFT_UNITS, UNITS

_HEADS = (*sorted(UNITS), *sorted(SOFT_UNITS), "VAR_GLOBAL")
_EXPECTED = ("PROGRAM", "FUNCTION_BLOCK", "FUNCTION", "TYPE", "VAR_GLOBAL")
_BEHIND_HEAD = SECTIONS | ENDS | {":", ";", "EXTENDS", "IMPLEMENTS"}
_NAME_CONTINUES = frozenset((":=", "(", ".", "[", "^", ";", "?="))
_PARTS = ("ACTION", "METHOD", "PROPERTY")
_NOT_PROSE = ENDS | {":=", ";"}
# Pragmas that decide what the program is.
_MEANINGFUL = re.compile(
    r"\{\s*(IF|ELSIF|ELSE|END_IF|DEFINE|UNDEFINE|INCLUDE|"
    r"ATTRIBUTE\s+'(?:CALL_AFTER_\w+|CALL_ON_\w+|NO_INIT|INIT_ON_\w+|CONDITIONALSHOW\w*)')(?!\w)",
    re.IGNORECASE,
)
_SHOWN = 60


class FileParser(UnitParser):
    """Reads a whole file.

    Parameters
    ----------
    text, locate, what
        As of a `Cursor`.
    name : str
        The file's name without folders and ending.
    """

    def __init__(self, text: str, locate: Locate, what: str, name: str) -> None:
        super().__init__(text, locate, what)
        self.file_name = name
        self.units: list[sx.Unit] = []
        self.type_defs: list[sx.TypeDef] = []
        self.globals: list[sx.Declaration] = []
        self.tasks: list[sx.Task] = []
        self.instances: list[sx.ProgramInstance] = []

    def source_file(self) -> sx.SourceFile:
        """The file.

        Raises
        ------
        InputError
            With every syntax mistake that could be told apart.
        """
        try:
            self._read_over_pragmas()
            self._read_over_prose()
            while self.now.kind != "end":
                self._top("")
        except (UnexpectedTokenError, EndOfReadingError):
            pass
        if self.mistakes:
            raise InputError(self.mistakes)
        return sx.SourceFile(
            self.file_name,
            tuple(self.type_defs),
            tuple(self.units),
            tuple(self.globals),
            tuple(self.tasks),
            tuple(self.instances),
            tuple(sorted(self.notes, key=lambda note: note.place)),
            quotes_names=bool(self.lexed.marked),
        )

    def statements(self) -> tuple[sx.Statement, ...]:
        """The statements that the whole text is, as those of a body that stands by itself.

        Raises
        ------
        InputError
            With every syntax mistake that could be told apart.
        """
        found: tuple[sx.Statement, ...] = ()
        try:
            self._read_over_pragmas()
            found = self.body()
            if self.now.kind != "end":
                self.fail("a statement")
        except (UnexpectedTokenError, EndOfReadingError):
            pass
        if self.mistakes:
            raise InputError(self.mistakes)
        return found

    # What means nothing

    def _read_over_pragmas(self) -> None:
        told: set[str] = set()
        for at, text in self.lexed.pragmas:
            meaningful = _MEANINGFUL.match(text)
            if meaningful:
                says = (
                    f"the pragma {{{meaningful[1]} …}} is not supported: "
                    "nothing of a program may be hidden from the check"
                )
                self.note_mistake((self.locate(at), says))
            elif text not in told:
                told.add(text)
                self._note_at(at, f"the pragma {_short(text)} was read over")
        if self.lexed.wrappings:
            at, text = self.lexed.wrappings[0]
            self._note_at(at, f"lines of an export were read over, such as {_short(text)}")
        for at in self.lexed.marked:
            self._note_at(at, "quotes round names and '#' before them were read over")
        if not self.lexed.nests:
            self._note_at(0, "comments were read as ending at the first '*)'; nested, one is open")

    def _note_at(self, offset: int, says: str) -> None:
        self.notes.append(sx.Note(self.locate(offset), says))

    def _read_over_prose(self) -> None:
        """Go on before the first unit, where all before it can be no program."""
        if self.at_unit() or self.now.kind == "end":
            return
        first = self.at
        while self.now.kind != "end":
            if self.now.upper in (":=", ";"):
                break
            starts = self.at == first or self.on_new_line()
            if starts and self._like_head():
                if self.at > first:
                    self.note(self.tokens[first], "the text before the first unit was read over")
                return
            self.advance()
        self.at = first
        self.now = self.tokens[first]

    def _like_head(self) -> bool:
        """Whether a unit or a section begins here, maybe misspelt."""
        now = self.now
        if now.upper in SECTIONS:
            return True
        if now.kind != "word" or self.ahead().kind != "word" or self.ahead().upper in RESERVED:
            return False
        behind = self.ahead(2)
        between = self.text[self.ahead().end : behind.start]
        if not ("\n" in between or behind.kind == "end" or behind.upper in _BEHIND_HEAD):
            return False
        return now.upper in _HEADS or bool(near_word(now.text, _HEADS))

    # What stands in a file

    def _top(self, namespace: str) -> None:
        now = self.now
        if now.upper == "TYPE":
            self.type_defs += self.types(namespace)
        elif now.upper in ("VAR_GLOBAL", "VAR_ACCESS", "VAR_CONFIG"):
            self.globals += self.section()
        elif self.is_soft("USING"):
            self.using()
        elif self.is_soft("NAMESPACE"):
            self._namespace(namespace)
        elif self.is_soft("CONFIGURATION", "RESOURCE"):
            self._configuration()
        elif self.at_unit():
            self.units.append(self.unit(namespace))
        elif self.is_soft(*_PARTS) and self.units:
            self.units[-1] = self.with_part(self.units[-1])
        elif self._begins_program() and not self.units and not namespace:
            self.units.append(self.headless(_identifier(self.file_name)))
        elif not self.take(";") and not self._is_prose_behind():
            self._strange()

    def _is_prose_behind(self) -> bool:
        """Read over what stands behind the last unit, where all of it can be no program."""
        if not self.units or not self.on_new_line() or self.now.upper in ENDS:
            return False
        first = self.at
        while self.now.kind != "end" and self.now.upper not in _NOT_PROSE:
            if self._like_head():
                break
            self.advance()
        # A word by itself is rather a slip.
        if self.now.kind == "end" and self.at > first + 1:
            self.note(self.tokens[first], "the text behind the last unit was read over")
            return True
        self.at = first
        self.now = self.tokens[first]
        return False

    def _begins_program(self) -> bool:
        now, behind = self.now, self.ahead()
        if now.kind == "direct":
            return True
        if now.kind != "word" or now.upper in ENDS | OPERATOR_WORDS:
            return False
        special = behind.upper in ("S", "R", "REF") and self.ahead(2).upper == "="
        return (
            now.upper in RESERVED
            or self.at_step()
            or self.at_transition()
            or special
            or behind.upper in _NAME_CONTINUES
        )

    def _strange(self) -> None:
        now = self.now
        if self.is_soft(*_PARTS):
            self.refuse(now, f"{now.upper} stands outside of the unit it belongs to")
            raise EndOfReadingError
        expected = (*(("the end",) if self.units else ()), *_EXPECTED)
        if now.upper in ENDS:
            self.give_up(*expected)
        near = near_word(now.text, _HEADS) if now.kind == "word" else ""
        if near and self.ahead().kind == "word":
            says = f"unexpected '{now.text[:_SHOWN]}'; expected {', '.join(_EXPECTED)}"
            self.respell(near, f"{says}; did you mean {near}?")
            return
        self.fail(*expected)

    def _namespace(self, outer: str) -> None:
        opened = self.advance()
        self._access_words()
        name = self.dotted_name()
        inner = f"{outer}.{name}" if outer else name
        self.deeper()
        while not self.take_end("END_NAMESPACE"):
            if self.now.kind == "end":
                self._note_missing("END_NAMESPACE", opened, name)
                break
            self._top(inner)
        self.depth -= 1

    # Configurations

    def _configuration(self) -> None:
        opened = self.advance()
        # Some exports leave a resource without a name.
        is_named = not (self.is_soft("TASK") and self.on_new_line())
        name = self.name().text if is_named else opened.text
        if opened.upper == "RESOURCE" and self.take("ON"):
            self.dotted_name()
        end = f"END_{opened.upper}"
        self.deeper()
        while not self.take_end(end):
            now = self.now
            if now.kind == "end":
                self._note_missing(end, opened, name)
                break
            if now.upper in ("VAR_GLOBAL", "VAR_ACCESS", "VAR_CONFIG"):
                self.globals += self.section()
            elif self.is_soft("RESOURCE"):
                self._configuration()
            elif self.is_soft("TASK"):
                self._task()
            elif now.upper == "PROGRAM":
                self._instance()
            elif not self.take(";"):
                self.fail(end, "RESOURCE", "TASK", "PROGRAM", "VAR_GLOBAL")
        self.depth -= 1

    def _task(self) -> None:
        place, opened = self.place(), self.now
        self.advance()
        name = self.name().text
        inputs = self.arguments()[0] if self.now.upper == "(" else []
        if not (inputs and self.on_new_line()):
            self.expect(";", "'('")
        times = [g.value for g in inputs if g.name.upper() in ("", "INTERVAL")]
        intervals = [time.ms for time in times if isinstance(time, sx.Duration)]
        task = sx.Task(name, intervals[0] if intervals else None, place)
        if any(given.name.upper() == "SINGLE" for given in inputs):
            self.note(opened, task.says_of_events)
        self.tasks.append(task)

    def _instance(self) -> None:
        place = self.place()
        self.advance()
        while self.now.upper in ("RETAIN", "NON_RETAIN"):
            self.advance()
        name = self.name().text
        task = self.name().text if self.take("WITH") else ""
        self.expect(":", "WITH")
        type_name = self.dotted_name()
        inputs, outputs = self.arguments() if self.now.upper == "(" else ([], [])
        self.expect(";", "'('")
        made = sx.ProgramInstance(name, task, type_name, place, tuple(inputs), tuple(outputs))
        self.instances.append(made)


def _short(text: str) -> str:
    shown = " ".join(text[: 2 * _SHOWN].split())
    return shown if len(shown) <= _SHOWN else shown[: _SHOWN - 1] + "…"


def _identifier(name: str) -> str:
    return re.sub(r"\W", "_", name, flags=re.ASCII)


def program_of(source: sx.SourceFile, end: Place) -> sx.Program:
    """The one program of a file that holds nothing else but types.

    Parameters
    ----------
    source : SourceFile
    end : Place
        Of the end of the file's text.

    Raises
    ------
    InputError
        With all that a single program cannot have.
    """
    supported = "supported: TYPE with enumerations, then one PROGRAM"
    mistakes = [
        Mistake(unit.place, f"{unit.kind} is not supported; {supported}")
        for unit in source.units
        if unit.kind != "PROGRAM"
    ]
    programs = [unit for unit in source.units if unit.kind == "PROGRAM"]
    mistakes += [Mistake(unit.place, "a file holds one PROGRAM only") for unit in programs[1:]]
    for declaration in source.globals:
        mistakes.append(Mistake(declaration.place, f"VAR_GLOBAL is not supported; {supported}"))
    for unit in programs:
        mistakes += [
            Mistake(part.place, f"{part.kind} is not supported; {supported}")
            for part in unit.methods
        ]
        mistakes += [
            Mistake(part.place, f"ACTION is not supported; {supported}") for part in unit.actions
        ]
        if unit.chart is not None:
            says = f"a chart is not supported; {supported}"
            mistakes.append(Mistake(unit.chart.place, says))
    if not mistakes and not programs:
        says = "unexpected end of the program; expected PROGRAM or TYPE"
        mistakes.append(Mistake(end, says))
    if mistakes:
        raise InputError(mistakes)
    program = programs[0]
    return sx.Program(program.name, source.types, program.declarations, program.body, program.place)
