"""The count sheet: what lies on the shelf, written down by hand."""

from service.documents.models import CountSheet
from service.documents.pdf import render_pdf
from service.documents.presentation import Presentation


def count_sheet_pdf(sheet: CountSheet, presentation: Presentation) -> bytes:
    """Typeset the sheet on upright paper with a frame to write in for every item."""
    words = presentation.labels
    return render_pdf(
        "count_sheet",
        {
            "title": words["count_sheet"],
            "language": presentation.language,
            "paper": presentation.paper,
            "words": words,
            "footer": f"{sheet.organisation} · {words['count_sheet']}",
            "facts": [
                (words["organisation"], sheet.organisation),
                (words["printed"], presentation.moment(sheet.printed_at)),
            ],
            "record_url": sheet.record_url,
            "lines": [(line.item, line.unit) for line in sheet.lines],
        },
    )
