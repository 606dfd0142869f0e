"""Labels for containers of used fluid, one a page, to stick on."""

from collections.abc import Sequence

from service.documents.models import UsedFluidLabel
from service.documents.pdf import Json, render_pdf
from service.documents.presentation import Presentation
from service.errors import InvalidInputError


def used_fluid_label_pdf(labels: Sequence[UsedFluidLabel], presentation: Presentation) -> bytes:
    """Typeset one label a page, the words the law asks for largest; a label without such words is refused."""
    for index, label in enumerate(labels):
        if not any(word.strip() for word in label.required_words):
            raise InvalidInputError.at(
                f"/labels/{index}/required_words", "A label needs the words the law asks for."
            )
    if not labels:
        raise InvalidInputError.at("/labels", "Give at least one label to print.")
    words = presentation.labels
    return render_pdf(
        "used_fluid_label",
        {
            "title": f"{words['used_fluid']}: {labels[0].organisation}",
            "language": presentation.language,
            "words": words,
            "labels": [_label(label, presentation) for label in labels],
        },
    )


def _label(label: UsedFluidLabel, presentation: Presentation) -> Json:
    words = presentation.labels
    pairs = (
        (words["container"], label.container),
        (words["volume"], "" if label.volume_litres is None else presentation.volume(label.volume_litres, 0)),
        (words["waste_code"], label.waste_code),
        (words["opened"], presentation.day(label.opened_on) if label.opened_on else ""),
        (words["organisation"], "\n".join(filter(None, (label.organisation, label.address)))),
        (words["emergency"], label.emergency_contact),
    )
    return {
        "required_words": label.required_words,
        "stream": label.stream,
        "facts": [pair for pair in pairs if pair[1]],
        "handling": label.handling,
        "legal_basis": f"{words['legal_basis']} {label.legal_basis}" if label.legal_basis else "",
    }
