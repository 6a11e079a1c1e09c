"""Random projects in text, written as files of the exchange format, are read back the same."""

from __future__ import annotations

from pathlib import PurePath

from hypothesis import HealthCheck, given, settings

from interlock.exchange.files import read_files
from interlock.st.parser import parse_file
from tests.support.exchange_written import as_exchange_file, as_read, part_of_the_format
from tests.support.random_projects import RandomProject, random_projects


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(random_projects())
def test_a_project_is_read_back_the_same(project: RandomProject) -> None:
    texts = project.texts.items()
    sources = [part_of_the_format(parse_file(text, name)) for name, text in texts]
    assert any(source.units for source in sources)
    files = {f"{PurePath(s.name).stem}.xml": as_exchange_file(s) for s in sources}
    assert [as_read(source) for source in sources] == read_files(files)
