"""The count sheet: what lies on the shelf, written down by hand."""

from service.documents.models import CountLine, CountSheet
from service.documents.pdf import render_pdf
from service.documents.presentation import Presentation


def count_sheet_pdf(sheet: CountSheet, presentation: Presentation) -> bytes:
    """Typeset the sheet on upright paper with a frame to write in for every item."""
    words = presentation.labels
    title = " ".join(filter(None, (words["count_sheet"], sheet.depot)))
    return render_pdf(
        "count_sheet",
        {
            "title": title,
            "language": presentation.language,
            "paper": presentation.paper,
            "words": words,
            "footer": f"{sheet.organisation} · {title}",
            "facts": [
                (words["organisation"], sheet.organisation),
                (words["printed"], presentation.moment(sheet.printed_at)),
            ],
            "record_url": sheet.record_url,
            "shows_ledger": any(line.expected is not None for line in sheet.lines),
            "lines": [
                (
                    line.item,
                    " · ".join(filter(None, (line.pack, line.unit))),
                    _expected(line, presentation),
                )
                for line in sheet.lines
            ],
            "notes": sheet.notes,
        },
    )


def _expected(line: CountLine, presentation: Presentation) -> str:
    if line.expected is None:
        return ""
    n_decimals = 0 if float(line.expected).is_integer() else 1
    return presentation.number(line.expected, n_decimals)
