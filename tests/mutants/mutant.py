"""One change of a file, and in which parts of a file none is tried.

Left out is what no test of behaviour should decide: annotations of types, docstrings and the
wording of messages (texts are never changed, nor what stands in an f-string), `__all__`,
decorators, imports for type checking only, and what only guards against our own mistakes:
`assert` and `strict=`. So is what does not compile.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass

Span = tuple[tuple[int, int], tuple[int, int]]
"""From where to where: lines from 1, columns from 0 in characters."""


@dataclass(frozen=True)
class Mutant:
    """One change in one file.

    Attributes
    ----------
    file : str
        Below the root of the project, with forward slashes.
    operator : str
    occurrence : int
        Which of the places that the operator could change.
    line : int
    inside : str
        The function or method around it, or an empty text.
    before, after : str
        The lines that differ, each without its indentation.
    """

    file: str
    operator: str
    occurrence: int
    line: int
    inside: str
    before: str
    after: str


def left_out(source: str) -> list[Span]:
    """The parts of a file in which no change is tried."""
    lines = source.splitlines()
    tree = ast.parse(source)
    return [_span(lines, node) for node in _left_out(tree)]


def _left_out(tree: ast.AST) -> Iterator[ast.AST]:
    for node in ast.walk(tree):
        match node:
            case ast.JoinedStr() | ast.Assert():
                yield node
            case ast.FunctionDef(decorator_list=decorators, returns=returns):
                yield from decorators
                if returns is not None:
                    yield returns
            case ast.ClassDef(decorator_list=decorators):
                yield from decorators
            case (
                ast.arg(annotation=ast.expr() as annotation) | ast.AnnAssign(annotation=annotation)
            ):
                yield annotation
            case ast.If(test=ast.Name(id="TYPE_CHECKING")):
                yield node
            case ast.Assign(targets=[ast.Name(id="__all__")]):
                yield node
            case ast.keyword(arg="strict"):
                yield node


def _span(lines: list[str], node: ast.AST) -> Span:
    def place(line: int, column: int) -> tuple[int, int]:
        # The syntax tree counts bytes, the library that changes the source counts characters.
        return line, len(lines[line - 1].encode()[:column].decode())

    return place(node.lineno, node.col_offset), place(node.end_lineno, node.end_col_offset)  # type: ignore[attr-defined]


def function_at(source: str, line: int) -> str:
    """The innermost function or class around a line, with those around it."""
    names: list[str] = []
    nodes: list[ast.AST] = [ast.parse(source)]
    while nodes:
        node = nodes.pop()
        for child in ast.iter_child_nodes(node):
            start, stop = getattr(child, "lineno", None), getattr(child, "end_lineno", None)
            if start is not None and not start <= line <= stop:
                continue
            nodes.append(child)
            if isinstance(child, ast.FunctionDef | ast.ClassDef):
                names.append(child.name)
    return ".".join(names)


def difference(before: str, after: str) -> tuple[str, str]:
    """The lines in which two texts differ in one place, without their indentation."""
    ours, theirs = before.splitlines(), after.splitlines()
    while ours and theirs and ours[-1] == theirs[-1]:
        ours.pop(), theirs.pop()
    n_same = next(
        (n for n, two in enumerate(zip(ours, theirs, strict=False)) if two[0] != two[1]), 0
    )
    texts = ("\n".join(line.strip() for line in lines[n_same:]) for lines in (ours, theirs))
    return next(texts), next(texts)
