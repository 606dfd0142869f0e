"""The label of a container of used fluid, to stick on."""

from typing import Final

from service.documents.models import UsedFluidLabel
from service.documents.pdf import render_pdf
from service.documents.presentation import Presentation
from service.errors import InvalidInputError

NO_BREAK: Final = "\u00a0"


def used_fluid_label_pdf(label: UsedFluidLabel, presentation: Presentation) -> bytes:
    """Typeset one label, the words the law may ask for largest; without such words it is refused."""
    if not label.required_words.strip():
        raise InvalidInputError.at("/required_words", "A label needs the words that say what is inside.")
    words = presentation.labels
    capacity = "" if label.capacity_litres is None else presentation.pack_size(label.capacity_litres)
    return render_pdf(
        "used_fluid_label",
        {
            "title": f"{label.required_words}: {label.stream}, {label.depot}",
            "language": presentation.language,
            "words": words,
            "required_words": label.required_words,
            "stream": "" if label.stream == label.required_words else label.stream,
            "facts": [
                (words["depot"], label.depot),
                (words["organisation"], label.organisation),
                (words["opened"], presentation.day(label.opened_on) if label.opened_on else ""),
                (words["holds"], capacity),
                (
                    words["waste_codes" if label.waste_codes else "waste_code"],
                    ", ".join(code.replace(" ", NO_BREAK) for code in label.waste_codes),
                ),
            ],
            "never_with": f"{words['never_with']} {label.never_with}",
            "handling": label.handling,
        },
    )
