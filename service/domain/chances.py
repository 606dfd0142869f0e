"""How a probability is written: whole per cent, because more digits claim more than anybody knows."""


def chance(probability: float) -> str:
    """Write a probability; nothing uncertain is called certain or impossible.

    Signs and no words, so that it can stand in a sentence of any language.
    """
    if 0.0 < probability < 0.01:
        return "< 1 %"
    if 0.99 < probability < 1.0:
        return "> 99 %"
    return f"{100.0 * probability:.0f} %"


def asked(probability: float) -> str:
    """Write a probability that somebody chose, with the digits that they gave it."""
    return f"{100.0 * probability:.4g} %"
