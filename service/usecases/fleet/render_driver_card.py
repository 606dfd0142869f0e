"""The card with a driver's link on paper."""

from service.documents.driver_card import driver_card_pdf
from service.documents.file_names import attachment_name
from service.documents.models import DriverCard
from service.domain.zones import local_date
from service.usecases.fleet.driver_links import OpenedLink
from service.usecases.week.render_due_list import presentation_of


def render_driver_card(link: OpenedLink, address: str) -> tuple[bytes, str]:
    """Typeset the card of a link that is in force; only its holder knows its address."""
    zone = link.organisation.zone
    card = DriverCard(
        organisation=link.organisation.name,
        vehicle=link.vehicle.reference,
        address=address,
        ends_on=local_date(link.expires_at, zone),
    )
    content = driver_card_pdf(card, presentation_of(link.organisation))
    return content, attachment_name("driver", link.vehicle.reference, suffix="pdf")
