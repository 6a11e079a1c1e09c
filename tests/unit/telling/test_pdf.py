"""PDF through one door: what is missing is told with the extra that brings it."""

from __future__ import annotations

import contextlib
import re
import sys
import zlib
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.telling.pdf import NoPdfError, to_pdf
from tests.support.models import MODELS

PAGE = '<!DOCTYPE html><html lang="en"><title>t</title><body><h1>Sheet</h1></body></html>'


def test_a_page_becomes_the_same_pdf_twice() -> None:
    pytest.importorskip("weasyprint")
    assert to_pdf(PAGE) == to_pdf(PAGE)
    assert to_pdf(PAGE).startswith(b"%PDF-1.")


def objects_of(pdf: bytes) -> bytes:
    """The file with everything in it that is compressed laid open."""
    found = [pdf]
    for stream in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL):
        with contextlib.suppress(zlib.error):
            found.append(zlib.decompress(stream))
    return b"\n".join(found)


def test_a_pdf_is_tagged_has_a_language_and_no_clock() -> None:
    pytest.importorskip("weasyprint")
    found = objects_of(to_pdf(PAGE))
    # ISO 32000-1, 14.7 (structure) and 14.9.2 (language), from memory.
    assert b"/StructTreeRoot" in found
    assert b"/Lang" in found
    assert b"CreationDate" not in found
    assert b"ModDate" not in found


def test_nothing_is_fetched_for_a_page(tmp_path: Path) -> None:
    pytest.importorskip("weasyprint")
    image = tmp_path / "there.svg"
    image.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="40" height="40">'
        '<rect width="40" height="40"/></svg>',
        encoding="utf-8",
    )
    there = PAGE.replace("<h1>", f'<img src="{image.as_uri()}"><h1>')
    # What is not fetched might as well not be there.
    assert to_pdf(there) == to_pdf(there.replace("there.svg", "nowhere.svg"))


def test_without_the_library_the_extra_is_named_and_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(NoPdfError, match=r"pip install 'interlock\[report\]'"):
        to_pdf(PAGE)
    folder = tmp_path / "sheet"
    assert run(["testsheet", str(MODELS / "ramp"), "-o", str(folder), "--pdf"]) == 2
    assert "extra 'report'" in capsys.readouterr().err
    assert not folder.exists()
