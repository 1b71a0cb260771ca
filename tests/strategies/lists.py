"""Spreadsheets as a supplier might send them: XLSX parts written by hand, random lists over a pack."""

from __future__ import annotations

import zipfile
from collections.abc import Sequence
from pathlib import Path
from xml.sax.saxutils import escape

from hypothesis import strategies as st

_NS = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RELS = "http://schemas.openxmlformats.org/package/2006/relationships"
_DOC = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
Cell = str | int | float | None


def write_xlsx(path: Path, sheets: dict[str, Sequence[Sequence[Cell]] | str]) -> None:
    """Write a spreadsheet: rows of cells by sheet, or a sheet's XML as it is (ECMA-376 part 1)."""
    names = list(sheets)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(
            "[Content_Types].xml",
            '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
            '<Default Extension="xml" ContentType="application/xml"/></Types>',
        )
        archive.writestr(
            "_rels/.rels",
            f'<Relationships xmlns="{_RELS}"><Relationship Id="r1" Type="{_DOC}/officeDocument" '
            'Target="xl/workbook.xml"/></Relationships>',
        )
        listed = "".join(
            f'<sheet name="{escape(name)}" sheetId="{i}" r:id="r{i}"/>' for i, name in enumerate(names, 1)
        )
        archive.writestr(
            "xl/workbook.xml",
            f'<workbook xmlns="{_NS}" xmlns:r="{_DOC}"><sheets>{listed}</sheets></workbook>',
        )
        targets = "".join(
            f'<Relationship Id="r{i}" Type="{_DOC}/worksheet" Target="worksheets/sheet{i}.xml"/>'
            for i in range(1, len(names) + 1)
        )
        styles = f'<Relationship Id="s" Type="{_DOC}/styles" Target="styles.xml"/>'
        archive.writestr(
            "xl/_rels/workbook.xml.rels", f'<Relationships xmlns="{_RELS}">{targets}{styles}</Relationships>'
        )
        # Style 1 is a date (number format 14).
        archive.writestr(
            "xl/styles.xml",
            f'<styleSheet xmlns="{_NS}"><cellXfs count="2"><xf numFmtId="0"/><xf numFmtId="14"/></cellXfs>'
            "</styleSheet>",
        )
        for i, rows in enumerate(sheets.values(), 1):
            body = rows if isinstance(rows, str) else write_rows(rows)
            archive.writestr(
                f"xl/worksheets/sheet{i}.xml",
                f'<worksheet xmlns="{_NS}"><sheetData>{body}</sheetData></worksheet>',
            )


def write_rows(rows: Sequence[Sequence[Cell]]) -> str:
    """Return the rows of a sheet as XML."""
    return "".join(
        f'<row r="{r}">{"".join(_write_cell(r, c, cell) for c, cell in enumerate(row))}</row>'
        for r, row in enumerate(rows, 1)
    )


def _write_cell(row: int, column: int, cell: Cell) -> str:
    place = f'r="{chr(65 + column)}{row}"'
    if cell is None:
        return ""
    if isinstance(cell, str):
        return f'<c {place} t="inlineStr"><is><t xml:space="preserve">{escape(cell)}</t></is></c>'
    return f"<c {place}><v>{cell}</v></c>"


LIST_COLUMNS = (
    "article", "title", "kind", "fcc_id", "frequency_hz", "buttons", "blade", "chip", "cost", "price",
    "make", "model", "years", "start", "trim", "share", "runsheet",
)  # fmt: skip


@st.composite
def list_rows(
    draw: st.DrawFn, articles: Sequence[str], makes: Sequence[str], blades: Sequence[str]
) -> list[list[str]]:
    """Draw rows under ``LIST_COLUMNS`` about articles and vehicles of a pack and others of their own."""
    numbers = [*articles, "LIST-1", "LIST-2", "LIST-3"]
    first = st.integers(2000, 2012)
    row = st.tuples(
        st.sampled_from(numbers),
        st.sampled_from(["", "Key", "Remote"]),
        st.sampled_from(["", "remote", "chip", "flip key"]),
        st.sampled_from(["", "9ZZAA-K8T", "KX4-HM22"]),
        st.sampled_from(["", "433,92", "315 MHz"]),
        st.sampled_from(["", "lock|unlock", "Lock / Trunk", "3"]),
        st.sampled_from(["", *blades, "not-there"]),
        st.sampled_from(["", "tern-a"]),
        st.sampled_from(["", "12,50", "9"]),
        st.sampled_from(["", "30.00"]),
        st.sampled_from(["", *makes, "Moorhen"]),
        st.sampled_from(["Oxbow", "Teal"]),
        st.builds(lambda a, n: f"{a}-{a + n}", first, st.integers(0, 6)),
        st.sampled_from(["", "turn", "push"]),
        st.sampled_from(["", "long"]),
        st.sampled_from(["", "", "0.2", "0.45", "70 %", "0.0003"]),
        st.sampled_from(["", "not-there"]),
    )
    rows = draw(st.lists(row, min_size=1, max_size=14))
    # Where no make stands the row is about an article alone.
    return [list(one) if one[10] else [*one[:10], *[""] * 7] for one in rows]
