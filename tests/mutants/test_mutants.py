"""The trying of mutants: what is left out, what is stale, and that the original stays as it is.

Nothing here needs the library that makes the mutants.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.mutants.equivalents import Equivalent, StaleError, equivalents_of, read_equivalents
from tests.mutants.journal import Journal, fingerprint
from tests.mutants.mutant import Mutant, difference, function_at, left_out
from tests.mutants.targets import TARGETS
from tests.mutants.trying import KILLED, SURVIVED, TIMEOUT, Copy, TableError

ROOT = Path(__file__).parents[2]

SOURCE = """
__all__ = ["a" + "b"]
if TYPE_CHECKING:
    from x import y

@dataclass(frozen=True)
class C:
    n: int | None = 1 | 2

    def f(self, ä: "ü" = 1 + 1, b: int | str = 2) -> int | None:
        assert b == 3
        raise E(f"at {b - 1}" + zip(a, b, strict=False))
"""


def parts(source: str) -> list[str]:
    """The text of what is left out."""
    lines = source.splitlines()
    return [
        "\n".join(
            line[a[1] if n == a[0] else 0 : b[1] if n == b[0] else None]
            for n, line in enumerate(lines, 1)
            if a[0] <= n <= b[0]
        )
        for a, b in left_out(source)
    ]


def test_types_decorators_assertions_and_wording_are_left_out() -> None:
    assert sorted(parts(SOURCE)) == [
        '"ü"',
        '__all__ = ["a" + "b"]',
        "assert b == 3",
        "dataclass(frozen=True)",
        'f"at {b - 1}"',
        "if TYPE_CHECKING:\n    from x import y",
        "int | None",
        "int | None",
        "int | str",
        "strict=False",
    ]


def test_a_mutant_knows_its_function_and_the_lines_that_differ() -> None:
    assert function_at(SOURCE, 11) == "C.f"
    assert function_at(SOURCE, 2) == ""
    assert difference("a\n  b = 1\nc\n", "a\n  b = 2\nc\n") == ("b = 1", "b = 2")
    assert difference("a\n  f(\n1)\nc\n", "a\n  pass\nc\n") == ("f(\n1)", "pass")
    assert difference("a\na\nb\n", "a\na\na\nb\n") == ("", "a")


MUTANT = Mutant("interlock/x.py", "NumberReplacer", 0, 3, "f", "n = 1", "n = 2")
ENTRY = Equivalent("interlock/x.py", "f", "n = 1", "n = 2", "nobody reads it")


class Known:
    """Mutants of a file that has one."""

    def of_line(self, text: str) -> list[Mutant]:
        return [MUTANT] if text == MUTANT.before else []


def test_an_entry_that_fits_no_mutant_is_stale() -> None:
    assert equivalents_of(Known(), [ENTRY]) == {MUTANT}  # type: ignore[arg-type]
    for stale in (
        replace(ENTRY, inside="g"),
        replace(ENTRY, before="n = 0"),
        replace(ENTRY, after="n = 3"),
    ):
        with pytest.raises(StaleError, match="no mutant is so any more"):
            equivalents_of(Known(), [ENTRY, stale])  # type: ignore[arg-type]


def test_an_entry_without_a_reason_or_with_an_unknown_key_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "list.toml"
    row = '[[equivalent]]\nfile="f"\ninside=""\nbefore="a"\nafter="b"\n'
    for rest in ("", 'reason=" "\n', 'reason="r"\nline=3\n'):
        path.write_text(row + rest, "utf-8")
        with pytest.raises(StaleError):
            read_equivalents(path)


def test_every_entry_of_the_list_speaks_of_lines_that_are_there() -> None:
    for entry in read_equivalents():
        assert entry.file in TARGETS
        lines = [line.strip() for line in (ROOT / entry.file).read_text("utf-8").splitlines()]
        assert set(entry.before.splitlines()) <= set(lines), entry


@pytest.mark.parametrize("file", TARGETS)
def test_each_file_of_the_table_and_its_tests_exist(file: str) -> None:
    assert (ROOT / file).is_file()
    assert all((ROOT / test.partition("::")[0]).exists() for test in TARGETS[file])


def test_a_journal_goes_on_behind_a_line_that_was_cut_off(tmp_path: Path) -> None:
    path = tmp_path / "new" / "journal.jsonl"
    Journal(path).note("p", MUTANT, KILLED)
    with path.open("a", encoding="utf-8") as file:
        file.write('["p", "Num')
    again = Journal(path)
    assert again.outcome("p", MUTANT) == KILLED
    assert again.outcome("q", MUTANT) is None
    assert again.outcome("p", replace(MUTANT, occurrence=1)) is None


def test_a_result_counts_only_for_the_same_file_and_tests(tmp_path: Path) -> None:
    (tmp_path / "tests").mkdir()
    file, test = tmp_path / "a.py", tmp_path / "tests" / "test_a.py"
    file.write_text("1")
    test.write_text("2")
    prints = [fingerprint(tmp_path, "a.py", ["tests"])]
    for changed in (test, file):
        changed.write_text("3")
        prints.append(fingerprint(tmp_path, "a.py", ["tests"]))
    assert len(set(prints)) == 3


def test_mutants_are_tried_on_a_copy_and_one_that_never_ends_counts(tmp_path: Path) -> None:
    root = tmp_path / "root"
    (root / "tests").mkdir(parents=True)
    (root / "pyproject.toml").write_text("")
    file = root / "tests" / "own.py"
    file.write_text("def own(n):\n    return n + 1\n")
    (root / "tests" / "test_own.py").write_text(
        "from own import own\n\ndef test_own():\n    assert own(1) == 2\n"
    )
    copy = Copy(root, tmp_path / "copy")
    tests = ["tests/test_own.py"]
    assert copy.seconds(tests) > 0
    for text, seconds, outcome in (
        ("def own(n):\n    return n - 1\n", 60, KILLED),
        ("def own(n):\n    return n * 2\n", 60, SURVIVED),
        ("def own(n):\n    while n: 1\n", 4, TIMEOUT),
    ):
        assert copy.outcome("tests/own.py", text, tests, seconds) == outcome
    assert (tmp_path / "copy" / "tests" / "own.py").read_text() == file.read_text()
    (tmp_path / "copy" / "tests" / "test_own.py").write_text("def test_own():\n    assert 0\n")
    with pytest.raises(TableError, match="without a mutant: killed"):
        copy.seconds(tests)
    copy.close()
