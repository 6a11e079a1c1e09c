"""A project executed as written gives what elaboration, checker and lowering make of it."""

from __future__ import annotations

from collections import Counter

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from interlock.st.layout import Settings, Timers
from tests.support.executed import disagreements
from tests.support.random_projects import Act, RandomProject, random_acts, random_projects

_relaxed = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))

_SETTINGS = st.builds(
    Settings,
    st.sampled_from((Timers.FREE, Timers.COUNTED)),
    st.sampled_from((50, 100, 120)),
    st.sampled_from((1, 2)),
    st.sampled_from(("wrap", "saturate")),
)


@_relaxed
@given(random_projects(), random_acts(), _SETTINGS)
def test_a_project_and_what_is_made_of_it_agree_in_every_scan(
    project: RandomProject, acts: list[Act], chosen: Settings
) -> None:
    counts: Counter[str] = Counter()
    assert not list(disagreements(project, acts, chosen, counts))
    for what in counts:
        event(what)
