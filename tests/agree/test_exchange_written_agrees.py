"""Random programs written in the exchange format, drawn or not, do what they did."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.base.errors import InputError
from interlock.exchange.files import load_project, read_files
from interlock.exchange.writing.files import write_exchange
from interlock.st.load import Loaded
from interlock.st.trial import Difference, difference
from tests.support.exchange_schema import check_schema
from tests.support.random_networks import Body, as_file, bodies
from tests.support.random_projects import RandomProject, random_projects

_QUIET = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]
WAYS = ("", "ladder", "blocks")


def written_again(texts: dict[str, str], root: str, drawn: str) -> tuple[Loaded, Loaded] | None:
    """A project, and the same written and read again; None where it is refused as it stands."""
    try:
        before = load_project(texts, root)
    except InputError:
        return None
    written = write_exchange(read_files(texts), root, drawn=drawn, texts=texts)
    check_schema(written.text)
    return before, load_project({"written.xml": written.text}, root)


def compare(texts: dict[str, str], root: str, drawn: str, n_scans: int = 30) -> Difference | None:
    """The first difference between a project and the same written and read again."""
    pair = written_again(texts, root, drawn)
    if pair is None:
        return None
    before, after = pair
    if not drawn and not any(name.endswith(".xml") for name in texts):
        assert before.program == after.program
        return None
    return difference(before.program, after.program, n_scans=n_scans)


@pytest.mark.parametrize("drawn", WAYS)
def test_a_random_body_drawn_anew_does_what_it_did(drawn: str) -> None:
    @settings(max_examples=12, deadline=None, suppress_health_check=_QUIET)
    @given(bodies())
    def try_one(body: Body) -> None:
        assert compare({"body.xml": as_file(body)}, "Main", drawn) is None

    try_one()


@settings(max_examples=2, deadline=None, suppress_health_check=_QUIET)
@given(random_projects(), st.sampled_from(WAYS))
def test_a_random_project_written_anew_does_what_it_did(project: RandomProject, drawn: str) -> None:
    assert compare(project.texts, project.root, drawn) is None


# A network is left at its end: what stands behind a RETURN must not be drawn with it.
_LEFT_WITHIN = """PROGRAM Main
VAR_INPUT a, b : BOOL; END_VAR
VAR_OUTPUT n : INT; p : BOOL; END_VAR
{}
p := NOT p;
END_PROGRAM
"""


@pytest.mark.parametrize("drawn", WAYS)
@pytest.mark.parametrize(
    "body",
    [
        "IF a THEN IF b THEN RETURN; END_IF; n := 5; ELSE n := 7; END_IF;",
        "IF a THEN IF b THEN RETURN; ELSE n := 3; END_IF; n := n + 1; END_IF;",
        "IF a THEN IF b THEN n := 4; RETURN; END_IF; END_IF;",
        "IF a THEN RETURN; ELSIF b THEN n := 4; END_IF;",
    ],
)
def test_what_stands_behind_a_return_is_left_out_in_a_drawing_too(body: str, drawn: str) -> None:
    assert compare({"p.st": _LEFT_WITHIN.format(body)}, "Main", drawn) is None
