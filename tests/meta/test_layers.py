"""Imports run downward, in no circle; commands keep to their rooms; each library has one door."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from functools import cache
from graphlib import CycleError, TopologicalSorter
from importlib.metadata import packages_distributions
from itertools import chain
from pathlib import Path

import pytest

from interlock import engines
from interlock.kernel.certificate import Certifies
from interlock.kernel.followed import Follows
from interlock.kernel.guided import Guides
from interlock.kernel.kept import Keeps
from interlock.kernel.permitted import Permits
from interlock.kernel.projected import Projects
from interlock.kernel.varied import Varies

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "interlock"

# A room may import those below it (a greater number); two of the same number never each other.
HEIGHT = {
    "cli": 12,
    "testing": 12,
    "commands": 11,
    "telling": 10,
    "pictures": 9,
    "judgement": 8,
    "evidence": 7,
    "independent_judge": 6,
    "oversights": 6,
    "model": 5,
    "exchange": 4,
    "st": 3,
    "engines": 2,
    "reliability": 2,
    "drawings": 1,
    "sheets": 1,
    "kernel": 1,
    "base": 0,
}
# Engines know nothing of models and Structured Text, nor these of engines.
FORBIDDEN = {
    ("model", "engines"),
    ("exchange", "engines"),
    ("st", "engines"),
    ("independent_judge", "engines"),
    ("evidence", "engines"),
    ("oversights", "engines"),
}
# Which command may use another's room: a report reads results, figures need the study of faults,
# the bench explains by the words of a rehearsal.
BETWEEN_COMMANDS = {
    ("operate", "rehearse"),
    ("rating", "faults"),
    ("report", "faults"),
    ("report", "rating"),
    ("report", "rehearse"),
}
# Recheck is worth something because it knows neither engines nor the study that decides.
KEPT_FROM = {"recheck": {"engines", "judgement"}}
# What there is to be had from the engines; everything else of theirs is their own affair.
DOOR_OF_ENGINES = {
    "catalogue",
    "certifier",
    "follower",
    "guider",
    "keeper",
    "make",
    "permitter",
    "projector",
    "varier",
}
# What any file may use; everything else from elsewhere has the door that stands beside it.
# Commands are click's, shapes of files pydantic's, terminal text rich's: in their terms it is said.
EVERYWHERE = {"click", "pydantic", "pydantic_core", "rich"}
DOORS = {
    "distributed": "base/cluster.py",
    "graphviz": "pictures/dot.py",
    "hypothesis": "testing/machine.py",
    "jinja2": "telling/templates.py",
    "llvmlite": "engines/enumerate/jit.py",
    "markupsafe": "telling/templates.py",
    "oxidd": "engines/symbolic/diagrams.py",
    "pytest": "testing/plugin.py",
    "ruamel": "model/yaml.py",
    "starlette": "commands/operate/server.py",
    "transitions": "independent_judge/machines.py",
    "uvicorn": "commands/operate/serve.py",
    "vcd": "telling/vcd.py",
    "xlsxwriter": "sheets/write_xlsx.py",
    "weasyprint": "telling/pdf.py",
    "xdist": "testing/plugin.py",
    "z3": "commands/recheck/solve.py",
}
# What is asked for as a program and never imported.
PROGRAMS = {"graphviz-pure"}

FILES = sorted(PACKAGE.rglob("*.py"))


@cache
def imported(file: Path) -> list[str]:
    """Every module that `file` imports, wherever in it."""
    found = []
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}: relative import"
            found.append(node.module or "")
    return found


def layer_of(module: str) -> str | None:
    parts = module.split(".")
    return parts[1] if parts[0] == "interlock" and len(parts) > 1 else None


def command_of(parts: tuple[str, ...]) -> str | None:
    """The command in whose room a file or module lies; None for what all commands share."""
    is_room = (
        parts[0] == "commands" and len(parts) > 1 and (PACKAGE / "commands" / parts[1]).is_dir()
    )
    return parts[1] if is_room else None


@pytest.mark.parametrize("file", FILES, ids=lambda f: str(f.relative_to(PACKAGE)))
def test_imports_run_downward(file: Path) -> None:
    parts = file.relative_to(PACKAGE).parts
    if len(parts) == 1:
        return  # the package itself and python -m interlock
    own = parts[0]
    assert own in HEIGHT, f"{own} has no place in the order of layers"
    for module in imported(file):
        other = layer_of(module)
        if other is None or other == own:
            continue
        assert HEIGHT[other] < HEIGHT[own], f"{own} imports {module}, which is not below it"
        assert (own, other) not in FORBIDDEN, f"{own} must not know {other}"
        kept_from = KEPT_FROM.get(command_of(parts) or "", set())
        assert other not in kept_from, f"{file.name} must not know {other}"


def test_commands_use_each_other_only_by_the_list() -> None:
    found = set()
    for file in FILES:
        own = command_of(file.relative_to(PACKAGE).parts)
        for module in imported(file):
            other = command_of(tuple(module.split(".")[1:]) or ("",))
            if own is not None and other is not None and own != other:
                found.add((own, other))
    assert found == BETWEEN_COMMANDS


def test_what_commands_share_knows_no_command() -> None:
    for file in (PACKAGE / "commands").glob("*.py"):
        for module in imported(file):
            other = command_of(tuple(module.split(".")[1:]) or ("",))
            assert other is None, f"{file.name} imports {module}"


def test_engines_do_not_import_each_other() -> None:
    home = PACKAGE / "engines"
    for file in home.rglob("*.py"):
        own = file.relative_to(home).parts[0].removesuffix(".py")
        for module in imported(file):
            if module.startswith("interlock.engines."):
                other = module.split(".")[2]
                shared = not (home / other).is_dir() and other != "reference"
                assert other == own or shared, f"{file.name} imports {module}"


def test_whoever_studies_uses_the_door_of_the_engines_alone() -> None:
    found = []
    for file in FILES:
        if not file.is_relative_to(PACKAGE / "engines"):
            inside = [m for m in imported(file) if m.startswith("interlock.engines.")]
            # A module of theirs by its own name, too.
            names = [
                alias.name
                for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
                if isinstance(node, ast.ImportFrom) and node.module == "interlock.engines"
                for alias in node.names
            ]
            inside += [name for name in names if name not in DOOR_OF_ENGINES]
            found += [f"{file.relative_to(PACKAGE)}: {module}" for module in inside]
    assert not found


def test_the_door_of_the_engines_gives_what_offers_it() -> None:
    offered = {
        engines.keeper: Keeps,
        engines.projector: Projects,
        engines.follower: Follows,
        engines.guider: Guides,
        engines.permitter: Permits,
        engines.varier: Varies,
        engines.certifier: Certifies,
    }
    assert {make.__name__ for make in offered} | {"catalogue", "make"} == DOOR_OF_ENGINES
    for make, kind in offered.items():
        assert isinstance(make(), kind)


def libraries_of(file: Path) -> set[str]:
    """Third-party packages that `file` imports."""
    tops = {module.split(".")[0] for module in imported(file)}
    return tops - sys.stdlib_module_names - {"interlock", "__future__"}


def test_every_library_is_known_here() -> None:
    used = set().union(*map(libraries_of, FILES))
    assert used == EVERYWHERE | set(DOORS)


@pytest.mark.parametrize("library", DOORS)
def test_each_library_has_one_door(library: str) -> None:
    users = {str(f.relative_to(PACKAGE)) for f in FILES if library in libraries_of(f)}
    beside = {user for user in users if not user.startswith(DOORS[library])}
    assert not beside, f"{library} is imported by {sorted(beside)}"


def test_the_library_of_mutations_has_one_door_among_the_tests() -> None:
    users = {file for file in (ROOT / "tests").rglob("*.py") if "cosmic_ray" in libraries_of(file)}
    assert users == {ROOT / "tests" / "mutants" / "library.py"}


def test_every_dependency_is_imported() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    used_in_tests = {"test", "mutants"}
    asked = [
        *project["dependencies"],
        *chain(*(extras[e] for e in extras if e not in used_in_tests)),
    ]
    wanted = {re.split(r"[^\w.-]", requirement)[0] for requirement in asked}
    brought_by = packages_distributions()
    used = {name.lower() for module in EVERYWHERE | set(DOORS) for name in brought_by[module]}
    assert wanted - used == PROGRAMS


def module_name(file: Path) -> str:
    parts = file.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def modules_imported(file: Path, modules: set[str]) -> set[str]:
    """Those of `modules` that `file` imports, wherever in it; a package for its own names."""
    found = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            inner = [f"{node.module}.{alias.name}" for alias in node.names]
            found |= {full if full in modules else node.module for full in inner}
    return (found & modules) - {module_name(file)}


def test_no_modules_import_each_other_in_a_circle() -> None:
    modules = {module_name(file) for file in FILES}
    imports = {module_name(file): modules_imported(file, modules) for file in FILES}
    assert sum(map(len, imports.values())) > len(modules), "hardly any import was found"
    try:
        TopologicalSorter(imports).prepare()
    except CycleError as error:
        pytest.fail(f"a circle of imports: {' <- '.join(error.args[1])}")


def test_no_file_imports_what_is_private_to_another() -> None:
    found = []
    for file in [*FILES, *sorted((ROOT / "tests").rglob("*.py"))]:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("interlock"):
                names = [alias.name for alias in node.names]
                found += [f"{file.name}: {n}" for n in names if n[0] == "_" and n[1] != "_"]
    assert not found
