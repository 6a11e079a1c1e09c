"""A small check that a script is well-formed SMT-LIB 2.6, written apart from what makes scripts.

Names are declared before they are used, brackets close, and every term has a sort by the rules of
the Core theory and of fixed-size bit vectors (SMT-LIB Standard 2.6, 2021, and its theory files).
"""

from __future__ import annotations

import re

_WORDS = re.compile(r";[^\n]*|\|[^|\\]*\||[()]|[^\s()|;]+")


class MalformedError(Exception):
    """Not a well-formed script."""


def commands(text: str) -> list[list]:  # type: ignore[type-arg]
    """The commands of a script as nested lists."""
    stack: list[list] = [[]]  # type: ignore[type-arg]
    for word in _WORDS.findall(text):
        if word == "(":
            stack.append([])
        elif word == ")":
            if len(stack) == 1:
                raise MalformedError("a bracket closes nothing")
            stack[-2].append(stack.pop())
        elif not word.startswith(";"):
            stack[-1].append(word)
    if len(stack) != 1:
        raise MalformedError("a bracket is never closed")
    return stack[0]


class Checker:
    """Checks the commands of one script, in order."""

    def __init__(self) -> None:
        self.functions: dict[str, tuple[tuple[object, ...], object]] = {}
        self.n_checks = 0
        self.depth = 0

    def run(self, text: str) -> None:
        """Check every command of `text`.

        Raises
        ------
        MalformedError
            At the first one that is wrong.
        """
        for command in commands(text):
            match command:
                case ["set-logic", "QF_BV"]:
                    pass
                case ["declare-const", name, sort]:
                    self._declare(name, (), _sort(sort))
                case ["define-fun", name, parameters, sort, body]:
                    self._define(name, parameters, sort, body)
                case ["assert", term] if self.sort(term, {}) == "Bool":
                    pass
                case ["push" | "pop" as which, "1"]:
                    self.depth += 1 if which == "push" else -1
                case ["check-sat"]:
                    self.n_checks += 1
                case _:
                    raise MalformedError(f"no command, or not of sort Bool: {command[:1]}")
        if self.depth:
            raise MalformedError("push and pop do not match")

    def _define(self, name: str, parameters: list, sort: object, body: object) -> None:  # type: ignore[type-arg]
        own = {p: _sort(s) for p, s in parameters}
        if len(own) != len(parameters):
            raise MalformedError(f"{name}: parameters repeat")
        if self.sort(body, own) != _sort(sort):
            raise MalformedError(f"{name}: not of sort {sort}")
        self._declare(name, tuple(own.values()), _sort(sort))

    def _declare(self, name: str, arguments: tuple[object, ...], sort: object) -> None:
        if name in self.functions:
            raise MalformedError(f"{name} is declared twice")
        self.functions[name] = (arguments, sort)

    def sort(self, term: object, local: dict[str, object]) -> object:
        """The sort of a term."""
        lets = 0
        while isinstance(term, list) and term[:1] == ["let"]:
            _, bindings, term = term
            local = {**local, **{name: self.sort(value, local) for name, value in bindings}}
            lets += 1
        if isinstance(term, str):
            return self._word(term, local)
        assert isinstance(term, list)
        head, arguments = term[0], [self.sort(part, local) for part in term[1:]]
        if isinstance(head, list):
            return _indexed(head, arguments)
        if head in self.functions:
            wanted, result = self.functions[head]
            if tuple(arguments) != wanted:
                raise MalformedError(f"{head} is given {arguments}")
            return result
        return _builtin(head, arguments)

    def _word(self, word: str, local: dict[str, object]) -> object:
        if word in ("true", "false"):
            return "Bool"
        if re.fullmatch("#b[01]+", word):
            return len(word) - 2
        if word in local:
            return local[word]
        if word in self.functions and not self.functions[word][0]:
            return self.functions[word][1]
        raise MalformedError(f"{word} is not declared")


def _sort(tree: object) -> object:
    match tree:
        case "Bool":
            return "Bool"
        case ["_", "BitVec", width] if int(width) > 0:
            return int(width)
    raise MalformedError(f"no sort: {tree}")


def _indexed(head: list[str], arguments: list[object]) -> object:
    match head, arguments:
        case ["_", "extract", high, low], [int(width)] if width > int(high) >= int(low) >= 0:
            return int(high) - int(low) + 1
        case ["_", "zero_extend" | "sign_extend", by], [int(width)]:
            return width + int(by)
    raise MalformedError(f"{head} of {arguments}")


def _builtin(head: str, arguments: list[object]) -> object:
    match head, arguments:
        case "not", ["Bool"]:
            return "Bool"
        case (("and" | "or"), [_, _, *_]) if set(arguments) == {"Bool"}:
            return "Bool"
        case "ite", ["Bool", a, b] if a == b:
            return a
        case "=", [a, b] if a == b:
            return "Bool"
        case "bvslt", [int(a), int(b)] if a == b:
            return "Bool"
        case (("bvadd" | "bvsub" | "bvmul" | "bvsdiv" | "bvsrem"), [int(a), int(b)]) if a == b:
            return a
    raise MalformedError(f"{head} of {arguments}")
