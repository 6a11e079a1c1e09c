"""Random drawn bodies do as read what a slow evaluator says that they do, part by part."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.exchange.files import load_project
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from tests.support.random_networks import INPUTS, Body, Evaluator, as_file, bodies

_QUIET = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]


def compare(body: Body, scans: list[dict[str, int]]) -> None:
    """Execute a body in three ways."""
    loaded = load_project({"body.xml": as_file(body)}, "Main")
    expected = Evaluator(body)
    checked = Controller(loaded.program, Settings())
    written = DirectController(loaded.files, loaded.root, Settings())
    for inputs in scans:
        expected.scan(inputs)
        for controller in (checked, written):
            found = controller.scan(inputs).outputs
            assert found == {name: expected.values[name] for name in found}


SCANS = st.lists(
    st.fixed_dictionaries({name: st.integers(0, most) for name, most in INPUTS.items()}),
    min_size=6,
    max_size=6,
)


@settings(max_examples=40, deadline=None, suppress_health_check=_QUIET)
@given(bodies(), SCANS)
def test_a_random_body_does_what_its_drawing_says(body: Body, scans: list[dict[str, int]]) -> None:
    compare(body, scans)
