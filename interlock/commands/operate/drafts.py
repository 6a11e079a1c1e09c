"""Changed programs and sentences of the user's own, tried without touching the model's folder.

A draft is a revision of the model in a folder of its own that is gone before anyone can look:
so the very checks of model files judge it, and nothing is written where the model lies.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from interlock.base.errors import InputError, Mistake
from interlock.base.files import write_whole
from interlock.commands.operate.bench import BEYOND
from interlock.kernel import patterns
from interlock.kernel.patterns import PatternRow
from interlock.kernel.requirement import Pattern
from interlock.model.declined import load_for
from interlock.model.files import MODEL_FILE
from interlock.model.model import Model
from interlock.model.patterns import PATTERNS, SCOPES

SENTENCE = "MINE"
MAX_PROGRAM = 200_000
_PATTERNS = {row.key: pattern for pattern, row in PATTERNS.items()}
_SCOPES = {row.key: scope for scope, row in SCOPES.items()}


@dataclass(frozen=True)
class Wrong:
    """A mistake of the user's: where, and what.

    Attributes
    ----------
    field : str
        A field of the sentence, or ``program``.
    line, column : int
        In the program, or in the field.
    """

    field: str
    line: int
    column: int
    says: str


class WrongDraftError(Exception):
    """The draft cannot be used.

    Parameters
    ----------
    mistakes : list of Wrong
    """

    def __init__(self, mistakes: list[Wrong]) -> None:
        self.mistakes = mistakes
        super().__init__("\n".join(mistake.says for mistake in mistakes))


def sentence_form(has_time: bool) -> dict[str, Any]:
    """What the form offers: sentences, scopes, and which sentence takes a condition and so on.

    What speaks of time alone is offered where a model has it.
    """
    offered = [p for p in PATTERNS if has_time or not patterns.PATTERNS[p].is_timed]

    def those(which: Callable[[PatternRow], bool]) -> str:
        return " ".join(PATTERNS[p].key for p in offered if which(patterns.PATTERNS[p]))

    bounds: dict[str, list[Pattern]] = {}
    for p in offered:
        if PATTERNS[p].bound:
            bounds.setdefault(PATTERNS[p].bound, []).append(p)
    return {
        "sentences": [PATTERNS[p] for p in offered],
        "scopes": SCOPES.values(),
        "bounds": [
            (key, _bound_offered(key, with_[0]), " ".join(PATTERNS[p].key for p in with_))
            for key, with_ in bounds.items()
        ],
        "takes": {
            "when": those(lambda row: row.has_when),
            "scope": those(lambda row: len(row.scopes) > 1),
            "after_scan": those(lambda row: not row.is_timed),
        },
    }


def _bound_offered(key: str, pattern: Pattern) -> str:
    """How a form offers a bound."""
    needed = patterns.PATTERNS[pattern].is_timed
    example = "such as 2 s" if needed else "3 scans, or 2 s; may be empty"
    return f"{key.replace('_', ' ')} ({example})"


def try_program(home: Path, model: Model, file: str, text: str) -> Model:
    """The model in the folder `home` with another text of one file of its program.

    Parameters
    ----------
    home : Path
    model : Model
        The same, perhaps with another program already.
    file : str
        The file's name without folders.
    text : str

    Raises
    ------
    WrongDraftError
        With every mistake, by line and column of the text.
    """
    if len(text) > MAX_PROGRAM:
        raise WrongDraftError([Wrong("program", 1, 1, f"more than {MAX_PROGRAM:,} characters")])
    unified = text.replace("\r\n", "\n").replace("\r", "\n")
    lines, texts = _program_of(model)
    try:
        return _load(home, model, lines, {**texts, file: unified})
    except InputError as error:
        found = [
            Wrong("program", m.place.line, m.place.column, m.says)
            if Path(m.place.file).name == file
            else Wrong("program", 1, 1, f"{Path(m.place.file).name}:{m.place.line}: {m.says}")
            for m in error.mistakes
        ]
        raise WrongDraftError(found) from None


def _program_of(model: Model) -> tuple[list[str], dict[str, str]]:
    """What a draft says of its program, and its texts by their names, which are all distinct."""
    texts = {Path(name).name: text for name, text in model.program_texts.items()}
    lines = [f"controller: [{', '.join(map(_quoted, texts))}]"]
    return lines + ([] if model.project is None else [f"root: {model.project.root}"]), texts


def try_sentence(
    home: Path, model: Model, pattern: str, scope: str, given: Mapping[str, str]
) -> Model:
    """The model with one requirement more, called `SENTENCE`.

    Parameters
    ----------
    home : Path
        Folder of the model.
    model : Model
        The same, perhaps with another program.
    pattern, scope : str
        Which sentence is filled, as the form names them.
    given : mapping of str to str
        Expressions by field; ``after_scan`` and ``signals`` are set or empty.

    Raises
    ------
    WrongDraftError
        With every mistake, by field and column.
    """
    fields, scoped = _wanted(pattern, scope, given)
    lines, program = _program_of(model)
    lines += [
        "requirements:",
        f"  {SENTENCE}:",
        f"    says: {_quoted(in_words(pattern, scope, given))}",
    ]
    heads = {}
    for name in fields:
        heads[len(lines) + 1 + _HEAD_LINES] = name
        lines.append(f"    {name}: {_quoted(given[name])}")
    if scoped:
        lines.append("    scope:")
    for name in scoped:
        heads[len(lines) + 1 + _HEAD_LINES] = name
        lines.append(f"      {name}: {_quoted(given[name])}")
    if given.get("after_scan"):
        lines.append("    judged: after scan")
    if given.get("signals"):
        lines.append("    about: signals")
    try:
        return _load(home, model, lines, program)
    except InputError as error:
        raise WrongDraftError([_located(m, heads, lines) for m in error.mistakes]) from None


def _wanted(pattern: str, scope: str, given: Mapping[str, str]) -> tuple[list[str], list[str]]:
    """The fields that the sentence has, and those of its scope; each must be filled."""
    if pattern not in _PATTERNS or scope not in _SCOPES:
        raise WrongDraftError([Wrong("never", 1, 1, "choose a sentence")])
    asked, kind = _PATTERNS[pattern], _SCOPES[scope]
    row = patterns.PATTERNS[asked]
    fields, scoped = list(PATTERNS[asked].keys), list(SCOPES[kind].parts)
    if kind not in row.scopes:
        known = ", ".join(f"'{words.offered}'" for s, words in SCOPES.items() if s in row.scopes)
        said = f"'{PATTERNS[asked].clauses[-1]}' is asked {known} only"
        raise WrongDraftError([Wrong(scoped[0], 1, 1, said)])
    if row.has_when and given.get("when", "").strip():
        fields.append("when")
    bound = PATTERNS[asked].bound
    if row.is_timed or (row.has_bound and given.get(bound, "").strip()):
        fields.append(bound)
    missing = [name for name in (*fields, *scoped) if not given.get(name, "").strip()]
    if missing:
        wanted = {bound: "write a time here, such as 2 s"}
        says = [(name, wanted.get(name, "write an expression here")) for name in missing]
        raise WrongDraftError([Wrong(name, 1, 1, said) for name, said in says])
    return fields, scoped


def in_words(pattern: str, scope: str, given: Mapping[str, str]) -> str:
    """The filled sentence as one reads it."""

    parts = {name: " ".join(text.split()) for name, text in given.items()}
    asked = _PATTERNS[pattern]
    said = PATTERNS[asked].sentence.format_map(parts)
    if patterns.PATTERNS[asked].has_when and parts.get("when"):
        said += f", when {parts['when']}"
    bound = PATTERNS[asked].bound
    if bound and parts.get(bound):
        said += f", {bound.replace('_', ' ')} {parts[bound]}"
    return said + SCOPES[_SCOPES[scope]].sentence.format_map(parts)


_HEAD_LINES = 2


def _load(home: Path, model: Model, lines: list[str], files: Mapping[str, str]) -> Model:
    with tempfile.TemporaryDirectory(prefix="interlock-draft-") as top:
        # The folder carries the model's name, which is that of its folder.
        folder = Path(top) / model.name
        base = os.path.relpath(os.path.realpath(home), os.path.realpath(top))
        head = [f"title: {_quoted(model.title)}", f"revises: {_quoted(os.path.join('..', base))}"]
        assert len(head) == _HEAD_LINES
        for name, text in files.items():
            write_whole(folder / name, text)
        write_whole(folder / MODEL_FILE, "\n".join([*head, *lines, ""]))
        return load_for("the bench", folder, *BEYOND)


def _quoted(text: str) -> str:
    """A text as YAML in single quotes, on one line; each column stays where it is."""
    return "'" + "".join(" " if c.isspace() else c for c in text).replace("'", "''") + "'"


def _located(mistake: Mistake, heads: Mapping[int, str], lines: list[str]) -> Wrong:
    name = heads.get(mistake.place.line)
    if name is None:
        return Wrong(next(iter(heads.values())), 1, 1, mistake.says)
    line = lines[mistake.place.line - 1 - _HEAD_LINES]
    before = line[line.index("'") + 1 : mistake.place.column - 1]
    return Wrong(name, 1, len(before.replace("''", "'")) + 1, mistake.says)
