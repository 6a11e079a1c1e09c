"""``interlock doctor``: what is installed and whether it works."""

from __future__ import annotations

import platform
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import metadata

import click

from interlock import __version__
from interlock.commands.exits import EXIT_BAD_INPUT, EXIT_HOLDS

_LEAST_PYTHON = (3, 11)
# What the main job cannot do without; the symbolic engine and the drawing have a substitute.
_ESSENTIAL = (
    "click",
    "pydantic",
    "rich",
    "ruamel.yaml",
    "transitions",
    "llvmlite",
    "xlsxwriter",
)
# What else the package asks for, and each library of an extra with the extra's name.
_FURTHER = {
    "oxidd": "the symbolic engine",
    "pytest": "models as tests",
    "hypothesis": "controllers of your own under test",
    "graphviz": "diagrams",
    "graphviz-pure": "diagrams as SVG and PNG",
    "jinja2": "reports",
}
_EXTRA = {
    "starlette": ("operate", "the bench page"),
    "uvicorn": ("operate", "the bench page"),
    "z3-solver": ("recheck", "verdicts checked again from their evidence"),
    "pyvcd": ("report", "value change dumps"),
    "weasyprint": ("report", "PDF"),
    "distributed": ("cluster", "'challenge' and 'faults' over a cluster"),
}
_MAIN_ENGINE = "enumerate"


@dataclass(frozen=True)
class Check:
    """One line of the answer."""

    what: str
    is_good: bool
    says: str
    is_essential: bool = True


@click.command("doctor")
def command() -> int:
    """Tell what is installed and whether it works.

    Exit code 0 if the main job, 'verify', can run; 2 if something that it needs is missing.
    """
    checks = list(_checks())
    for check in checks:
        word = "ok" if check.is_good else "MISSING" if check.is_essential else "absent"
        click.echo(f"{word:8}{check.what}: {check.says}")
    is_ready = all(check.is_good for check in checks if check.is_essential)
    click.echo("ready" if is_ready else "not ready: see the lines that say MISSING")
    return EXIT_HOLDS if is_ready else EXIT_BAD_INPUT


def _checks() -> Iterator[Check]:
    yield Check("interlock", True, __version__)
    version = platform.python_version()
    least = ".".join(map(str, _LEAST_PYTHON))
    yield Check("Python", sys.version_info[:2] >= _LEAST_PYTHON, f"{version} (at least {least})")
    for name in _ESSENTIAL:
        yield _package(name, "needed", True)
    for name, use in _FURTHER.items():
        yield _package(name, f"for {use}", False)
    for name, (extra, use) in _EXTRA.items():
        yield _package(name, f"for {use}: pip install 'interlock[{extra}]'", False)
    yield from _engines()
    yield from _drawing()


def _package(name: str, use: str, is_essential: bool) -> Check:
    try:
        return Check(name, True, metadata.version(name), is_essential)
    except metadata.PackageNotFoundError:
        return Check(name, False, f"not installed, {use}", is_essential)


def _engines() -> Iterator[Check]:
    """Each engine on a system of three states, of which it must find all."""
    from interlock.engines import catalogue
    from interlock.kernel import expr as ex
    from interlock.kernel.query import Reach
    from interlock.kernel.system import Domain, Move, MoveKind, System, Variable

    n, top = ex.var("n"), ex.const(2)
    up = ex.minimum(ex.add(n, ex.const(1)), top)
    move = Move("up", MoveKind.PLANT, ex.lt(n, top), {"n": up})
    system = System((Variable("n", Domain(0, 2), 0),), (move,))
    for name, make in catalogue().items():
        essential = name == _MAIN_ENGINE
        try:
            found = make().explore(system, [Reach(ex.eq(n, top))])
            witness = found.answers[0].witness
            works = found.n_states == 3 and witness is not None and len(witness) == 2
            says = "works" if works else "gives a wrong answer on three states"
        # Whatever goes wrong in a library, the other lines must still be told.
        except Exception as error:
            works, says = False, f"does not work: {type(error).__name__}: {error}"
        yield Check(f"engine {name}", works, says, essential)


def _drawing() -> Iterator[Check]:
    try:
        from interlock.pictures.dot import NotDrawnError, find_tools, render, version_of
    except ImportError as error:
        yield Check("drawing", False, f"no diagrams: {error}", False)
        return
    tools = find_tools()
    for tool in tools:
        try:
            version = version_of(tool)
            sizes = [len(render("digraph { a -> b }", f, tools=[tool])) for f in ("svg", "png")]
            says = f"{version}, {tool.file}, draws SVG and PNG" if all(sizes) else "draws nothing"
            yield Check("drawing", all(size > 0 for size in sizes), says, False)
        except NotDrawnError as error:
            yield Check("drawing", False, str(error), False)
    if not tools:
        how = "pip install graphviz-pure, or a dot program (Debian: apt-get install graphviz)"
        yield Check("drawing", False, f"DOT texts only; install {how}", False)
