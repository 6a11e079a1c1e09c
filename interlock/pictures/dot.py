"""DOT text and its rendering: the only door to ``graphviz`` and to the programs that draw.

The text is what is kept and compared: the same input gives the same bytes, on every machine. What
a renderer makes of it may differ from version to version.

Two programs can draw. ``graphviz-pure`` comes with the package of that name; it is one
self-contained program, needs no fonts of the system and writes SVG and PNG. A ``dot`` of the
system is the second choice.
"""

from __future__ import annotations

import html
import re
import shutil
import subprocess
import sys
import sysconfig
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import graphviz

from interlock.base.visible import made_visible
from interlock.pictures.letters import with_fixed_widths

FORMATS = ("svg", "png")
TIMEOUT_S = 60.0


class NotDrawnError(Exception):
    """No program could draw a picture; the text says what each of them answered."""


class Markup(str):
    """A label in Graphviz's HTML-like language, every text in it escaped already."""

    __slots__ = ()


def escaped(text: str) -> str:
    """`text` as a plain label that shows exactly this text, lines centred."""
    return _coded(made_visible(text)).replace("\n", "\\n")


def marked(text: str) -> Markup:
    """`text` as a part of markup that shows exactly this text, lines left aligned."""
    lines = _coded(made_visible(text)).split("\n")
    if len(lines) == 1:
        return Markup(lines[0])
    return Markup("".join(f'{line}<BR ALIGN="LEFT"/>' for line in lines))


def _coded(text: str) -> str:
    # Both kinds of label read entities, and a bare backslash begins an escape in both. The library
    # would take a plain text in angle brackets for markup.
    return html.escape(text, quote=True).replace("\\", "\\\\")


def identifier(*parts: str) -> str:
    """A node's name for the words in `parts`: distinct words give distinct names."""
    # Colons would part a name from a port; everything unusual is coded as in an address.
    return "/".join(quote(part, safe=" _=.,()+-", errors="replace") for part in parts)


class Graph:
    """A directed graph, written in the order in which its parts are added.

    Parameters
    ----------
    name : str
    **attributes : str
        Attributes of the graph; values are taken as they are, `Markup` as a label.
    """

    def __init__(self, name: str, **attributes: str) -> None:
        self._graph = graphviz.Digraph(identifier(name))
        # Clusters with ranks across them crash the layout without newrank.
        self._graph.attr("graph", **_values({"newrank": "true", "charset": "UTF-8", **attributes}))

    def defaults(self, kind: str, **attributes: str) -> None:
        """Set attributes of every later ``node`` or ``edge``."""
        self._graph.attr(kind, **_values(attributes))

    def node(self, name: str, label: str, **attributes: str) -> None:
        """Add a node; a label that is no `Markup` is shown as it is."""
        self._graph.node(name, **_values({"label": _label(label), **attributes}))

    def edge(self, tail: str, head: str, label: str = "", **attributes: str) -> None:
        """Add an edge; a label that is no `Markup` is shown as it is."""
        given = {"label": _label(label), **attributes} if label else attributes
        self._graph.edge(tail, head, **_values(given))

    @property
    def text(self) -> str:
        """The DOT text."""
        return str(self._graph.source)


def _label(label: str) -> str:
    return f"<{label}>" if isinstance(label, Markup) else escaped(label)


def _values(attributes: dict[str, str]) -> dict[str, str]:
    return {
        name.rstrip("_"): f"<{value}>" if isinstance(value, Markup) else value
        for name, value in attributes.items()
    }


@dataclass(frozen=True)
class Tool:
    """A program that draws.

    Attributes
    ----------
    file : Path
    is_carried : bool
        Whether it came with a Python package.
    """

    file: Path
    is_carried: bool


def find_tools() -> list[Tool]:
    """The programs that can draw, the preferred one first."""
    name = "graphviz-pure" + (".exe" if sys.platform == "win32" else "")
    folders = [Path(sysconfig.get_path("scripts")), Path(sys.executable).parent]
    folders.append(Path(sysconfig.get_path("scripts", sysconfig.get_preferred_scheme("user"))))
    carried = [folder / name for folder in folders if (folder / name).is_file()]
    elsewhere = shutil.which(name)
    if not carried and elsewhere is not None:
        carried.append(Path(elsewhere))
    tools = [Tool(file, True) for file in carried[:1]]
    system = shutil.which("dot")
    if system is not None:
        tools.append(Tool(Path(system), False))
    return tools


def version_of(tool: Tool) -> str:
    """What the program says of itself, in one line.

    Raises
    ------
    NotDrawnError
        Where it does not run.
    """
    done = _run(tool, ["-V"], b"", 10.0)
    said = (done.stderr + done.stdout).decode("utf-8", "replace").strip()
    numbers = re.search(r"version (\S+(?: \([^)]*\))?)", said)
    return numbers.group(1) if numbers else said.splitlines()[0] if said else "unknown version"


def render(
    text: str,
    output: str,
    dpi: int | None = None,
    timeout_s: float = TIMEOUT_S,
    tools: Sequence[Tool] | None = None,
) -> bytes:
    """Draw DOT text.

    Parameters
    ----------
    text : str
    output : str
        One of `FORMATS`.
    dpi : int, optional
        Dots per inch of a PNG; 96 where not given.
    timeout_s : float
        Seconds after which a program is given up.
    tools : sequence of Tool, optional
        Programs to try, in order; those that are found where not given.

    Raises
    ------
    NotDrawnError
        Where no program is there, or each of them failed.
    """
    said = []
    arguments = [f"-T{output}"]
    if output == "png":
        arguments.append(f"-Gdpi={dpi or 96}")
    for tool in find_tools() if tools is None else tools:
        try:
            done = _run(tool, arguments, text.encode("utf-8"), timeout_s)
        except NotDrawnError as failed:
            said.append(str(failed))
            continue
        if done.returncode == 0 and done.stdout:
            return with_fixed_widths(done.stdout) if output == "svg" else done.stdout
        lines = done.stderr.decode("utf-8", "replace").strip().splitlines() or ["no picture"]
        said.append(f"{tool.file.name} ended with {done.returncode}: {lines[-1]}")
    raise NotDrawnError("; ".join(said) or "neither graphviz-pure nor dot was found")


def _run(
    tool: Tool, arguments: Sequence[str], data: bytes, timeout_s: float
) -> subprocess.CompletedProcess[bytes]:
    command = [str(tool.file), *arguments]
    try:
        return subprocess.run(
            command, input=data, capture_output=True, timeout=timeout_s, check=False
        )
    except subprocess.TimeoutExpired:
        raise NotDrawnError(f"{tool.file.name} took more than {timeout_s:g} s") from None
    except OSError as error:
        raise NotDrawnError(f"{tool.file.name} does not run: {error.strerror}") from None
