"""A sheet as comma-separated values (RFC 4180, UTF-8)."""

import csv
import io
from datetime import date
from typing import Final

from service.documents.tables import Cell, Column, Sheet
from service.documents.text import spreadsheet_text

LEAST_DECIMALS: Final = 3
"""A millilitre."""


def write_csv(sheet: Sheet) -> bytes:
    """Write headings and rows; numbers stay numbers, dates are ISO 8601, risky texts carry an apostrophe."""
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow([spreadsheet_text(column.heading) for column in sheet.columns])
    writer.writerows(
        [_written(cell, column) for cell, column in zip(row, sheet.columns, strict=True)]
        for row in sheet.rows
    )
    return buffer.getvalue().encode("utf-8")


def _written(cell: Cell, column: Column) -> str | int | float:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return spreadsheet_text(cell)
    if isinstance(cell, date):
        return cell.isoformat()
    return round(cell, max(LEAST_DECIMALS, column.n_decimals)) if isinstance(cell, float) else cell
