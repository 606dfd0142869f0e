"""Cards with the link for readings of one vehicle, to be kept in it: one for the folder, one for the sun visor."""

from service.documents.models import DriverCard
from service.documents.pdf import render_pdf
from service.documents.presentation import Presentation
from service.documents.qr_code import qr_svg


def driver_card_pdf(card: DriverCard, presentation: Presentation) -> bytes:
    """Typeset a large and a small card on one upright page."""
    words = presentation.labels
    title = f"{words['driver_card']}: {card.vehicle}"
    return render_pdf(
        "driver_card",
        {
            "title": title,
            "language": presentation.language,
            "paper": presentation.paper,
            "words": words,
            "footer": f"{card.organisation} · {title}",
            "organisation": card.organisation,
            "vehicle": card.vehicle,
            "address": card.address,
            "qr": qr_svg(card.address, title),
            "ends": f"{words['driver_ends']} {presentation.day(card.ends_on)}",
        },
    )
