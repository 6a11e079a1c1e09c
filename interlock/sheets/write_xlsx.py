"""Tables written as an XLSX workbook: texts and numbers, a few looks, never a formula.

The same tables give the same bytes: the archive bears no time. Each text is written as a text,
whatever it begins with.

Source: ISO/IEC 29500-1 (SpreadsheetML) and ISO/IEC 29500-2 (packages), from memory.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import Enum
from io import BytesIO
from xml.sax.saxutils import escape, quoteattr

from interlock.base.visible import made_visible
from interlock.sheets.table import column_name

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_WIDEST = 60
_LONGEST_NAME = 31
# What readers would take for the number of a sign.
_LIKE_AN_ESCAPE = re.compile("_(?=x[0-9A-Fa-f]{4}_)")
_NOT_IN_A_NAME = re.compile(r"[\\/*?:\[\]]")


class Look(Enum):
    """How a cell looks; what it means must stand in its text, too."""

    PLAIN = 0
    HEADING = 1
    GOOD = 2
    BAD = 3
    OPEN = 4
    QUIET = 5


# Font and fill of each look, by their numbers in the style sheet.
_STYLES = ((0, 0), (1, 2), (0, 3), (1, 4), (0, 5), (2, 0))
_FILLS = ("FFD9D9D9", "FFD7EFD7", "FFF6C6C0", "FFFBEFC0")


@dataclass(frozen=True)
class Shown:
    """A cell: a text or a number, and its look."""

    value: str | int | float
    look: Look = Look.PLAIN


@dataclass(frozen=True)
class Sheet:
    """A sheet to be written.

    Attributes
    ----------
    name : str
    rows : sequence of sequence of Shown, str, int or float
    n_headings : int
        So many rows stay in sight.
    """

    name: str
    rows: Sequence[Sequence[Shown | str | int | float]]
    n_headings: int = 1
    widths: dict[int, int] = field(default_factory=dict)


def to_xlsx(sheets: Sequence[Sheet]) -> bytes:
    """The bytes of a workbook with these sheets."""
    names = _names([sheet.name for sheet in sheets])
    numbers = range(1, len(sheets) + 1)
    listed = "".join(
        f'<sheet name={quoteattr(name)} sheetId="{n}" r:id="r{n}"/>'
        for n, name in zip(numbers, names, strict=True)
    )
    overrides = "".join(
        f'<Override PartName="/xl/worksheets/sheet{n}.xml" ContentType="{_TYPE}.worksheet+xml"/>'
        for n in numbers
    )
    links = "".join(_link(f"r{n}", "worksheet", f"worksheets/sheet{n}.xml") for n in numbers)
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types">'
        '<Default Extension="xml" ContentType="application/xml"/><Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{_TYPE}.sheet.main+xml"/>'
        f'<Override PartName="/xl/styles.xml" ContentType="{_TYPE}.styles+xml"/>'
        f"{overrides}</Types>",
        "_rels/.rels": _links(_link("r1", "officeDocument", "xl/workbook.xml")),
        "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}">'
        f"<sheets>{listed}</sheets></workbook>",
        "xl/_rels/workbook.xml.rels": _links(links + _link("styles", "styles", "styles.xml")),
        "xl/styles.xml": _style_sheet(),
    }
    for n, sheet in zip(numbers, sheets, strict=True):
        parts[f"xl/worksheets/sheet{n}.xml"] = "".join(_sheet(sheet))
    stream = BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            # The earliest date that an archive knows.
            info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            info.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(info, _HEAD + text)
    return stream.getvalue()


def _names(wanted: Sequence[str]) -> list[str]:
    """Names of sheets as workbooks allow them, each once."""
    found: list[str] = []
    for name in wanted:
        plain = _NOT_IN_A_NAME.sub(" ", name).strip("' ")[:_LONGEST_NAME] or "Sheet"
        number = 2
        while plain.casefold() in {other.casefold() for other in found}:
            plain = f"{plain[: _LONGEST_NAME - 4]} {number}"
            number += 1
        found.append(plain)
    return found


def _link(id_: str, kind: str, target: str) -> str:
    return f'<Relationship Id="{id_}" Type="{_OFFICE}/{kind}" Target="{target}"/>'


def _links(links: str) -> str:
    return f'<Relationships xmlns="{_PACKAGE}/relationships">{links}</Relationships>'


def _style_sheet() -> str:
    font = '<sz val="10"/><name val="Arial"/>'
    fonts = f"<font>{font}</font><font><b/>{font}</font>"
    fonts += '<font><sz val="10"/><color rgb="FF6A6A6A"/><name val="Arial"/></font>'
    fills = '<fill><patternFill patternType="none"/></fill>'
    fills += '<fill><patternFill patternType="gray125"/></fill>'
    for colour in _FILLS:
        fills += f'<fill><patternFill patternType="solid"><fgColor rgb="{colour}"/></patternFill>'
        fills += "</fill>"
    looks = "".join(
        f'<xf numFmtId="0" fontId="{font_}" fillId="{fill}" borderId="0" xfId="0" applyFont="1" '
        'applyFill="1" applyAlignment="1"><alignment vertical="top" wrapText="1"/></xf>'
        for font_, fill in _STYLES
    )
    plain = '<xf numFmtId="0" fontId="0" fillId="0" borderId="0"/>'
    return (
        f'<styleSheet xmlns="{_MAIN}"><fonts count="3">{fonts}</fonts>'
        f'<fills count="{len(_FILLS) + 2}">{fills}</fills>'
        '<borders count="1"><border><left/><right/><top/><bottom/><diagonal/></border></borders>'
        f'<cellStyleXfs count="1">{plain}</cellStyleXfs>'
        f'<cellXfs count="{len(_STYLES)}">{looks}</cellXfs>'
        '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles>'
        "</styleSheet>"
    )


def _sheet(sheet: Sheet) -> Iterator[str]:
    yield f'<worksheet xmlns="{_MAIN}">'
    if 0 < sheet.n_headings < len(sheet.rows):
        first = f"A{sheet.n_headings + 1}"
        yield f'<sheetViews><sheetView workbookViewId="0"><pane ySplit="{sheet.n_headings}" '
        yield f'topLeftCell="{first}" activePane="bottomLeft" state="frozen"/></sheetView>'
        yield "</sheetViews>"
    widths = _widths(sheet)
    if widths:
        yield "<cols>"
        for n, width in enumerate(widths, 1):
            yield f'<col min="{n}" max="{n}" width="{width}" customWidth="1"/>'
        yield "</cols>"
    yield "<sheetData>"
    for number, row in enumerate(sheet.rows, 1):
        yield f'<row r="{number}">'
        for column, cell in enumerate(row):
            shown = cell if isinstance(cell, Shown) else Shown(cell)
            yield _cell(f"{column_name(column)}{number}", shown)
        yield "</row>"
    yield "</sheetData></worksheet>"


def _widths(sheet: Sheet) -> list[int]:
    """About as many signs as the longest text of a column has."""
    n_columns = max((len(row) for row in sheet.rows), default=0)
    found = []
    for column in range(n_columns):
        cells = [row[column] for row in sheet.rows if column < len(row)]
        texts = [str(cell.value if isinstance(cell, Shown) else cell) for cell in cells]
        longest = max((len(line) for text in texts for line in text.split("\n")), default=0)
        found.append(sheet.widths.get(column, min(max(longest + 2, 6), _WIDEST)))
    return found


def _cell(name: str, shown: Shown) -> str:
    look = shown.look.value
    value = shown.value
    if isinstance(value, str):
        if not value and shown.look is Look.PLAIN:
            return ""
        text = _LIKE_AN_ESCAPE.sub("_x005F_", escape(made_visible(value)))
        inside = f'<is><t xml:space="preserve">{text}</t></is>'
        return f'<c r="{name}" s="{look}" t="inlineStr">{inside}</c>'
    return f'<c r="{name}" s="{look}"><v>{value!r}</v></c>'
