"""Workbooks as others write them, from the XML of their sheets."""

from __future__ import annotations

import zipfile
from collections.abc import Mapping, Sequence
from io import BytesIO

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"


def packed(parts: Mapping[str, str | bytes]) -> bytes:
    """An archive of these parts."""
    stream = BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return stream.getvalue()


def parts_of(sheets: Mapping[str, str], shared: Sequence[str] = (), hidden: str = "") -> dict:
    """The parts of a workbook: by the name of each sheet what stands in its worksheet element."""
    listed, links, parts = "", "", {}
    for n, (name, inside) in enumerate(sheets.items(), 1):
        state = ' state="hidden"' if name == hidden else ""
        listed += f'<sheet name="{name}" sheetId="{n}"{state} r:id="rId{n}"/>'
        links += f'<Relationship Id="rId{n}" Type="{OFFICE}/worksheet" Target="/xl/s{n}.xml"/>'
        parts[f"xl/s{n}.xml"] = f'<worksheet xmlns="{MAIN}">{inside}</worksheet>'
    links += f'<Relationship Id="t" Type="{OFFICE}/sharedStrings" Target="texts.xml"/>'
    items = "".join(f"<si>{item}</si>" for item in shared)
    parts["xl/workbook.xml"] = (
        f'<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><sheets>{listed}</sheets></workbook>'
    )
    rels = f'<Relationships xmlns="{PACKAGE}">{links}</Relationships>'
    parts["xl/_rels/workbook.xml.rels"] = rels
    parts["xl/texts.xml"] = f'<sst xmlns="{MAIN}">{items}</sst>'
    return parts


def rows(*lines: Sequence[str], merged: str = "") -> str:
    """A sheet's inside: a cell for each text, an XML cell where it begins with ``<c``."""
    made = ""
    for number, line in enumerate(lines, 1):
        cells = ""
        for column, text in enumerate(line):
            name = f"{chr(ord('A') + column)}{number}"
            if text.startswith("<c"):
                cells += text.replace("<c", f'<c r="{name}"', 1)
            elif text:
                cells += f'<c r="{name}" t="inlineStr"><is><t>{text}</t></is></c>'
        made += f'<row r="{number}">{cells}</row>'
    refs = "".join(f'<mergeCell ref="{ref}"/>' for ref in merged.split())
    return f"<sheetData>{made}</sheetData><mergeCells>{refs}</mergeCells>"
