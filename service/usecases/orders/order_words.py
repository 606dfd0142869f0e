"""Say in words why an order is as it is, and what happens without it."""

from collections.abc import Mapping, Sequence
from datetime import date
from types import MappingProxyType
from typing import Final

from service.domain.chances import asked, chance
from service.domain.weeks import IsoWeek
from service.engine.orders.reasons import OrderReason

REASON_TEXTS: Final[Mapping[OrderReason, str]] = MappingProxyType(
    {
        OrderReason.COVERS_SEVERAL_WEEKS: "It also brings what later weeks need, which saves an order.",
        OrderReason.WHOLE_PACKS: "Packs are not split, so some is left over.",
        OrderReason.MINIMUM_ORDER: "It is at the supplier's minimum.",
        OrderReason.PRICE_BREAK: "It reaches a lower price.",
        OrderReason.TANK_LIMIT: "There is no room for another pack.",
        OrderReason.MAY_EXPIRE: "Part of it may expire before it is used.",
        OrderReason.BALANCES_COSTS: "It is worth its price against the cost of running out.",
    }
)


def why_ordered(
    reasons: Sequence[OrderReason], needed_week: int, weeks: Sequence[IsoWeek], service_level: float
) -> str:
    """Explain one order from the planner's codes."""
    sentences = []
    if OrderReason.COVERS_NEED in reasons and needed_week >= 0:
        sentences.append(
            f"Without it week {weeks[needed_week]} would be covered with less than the "
            f"{asked(service_level)} asked for."
        )
    sentences += [REASON_TEXTS[reason] for reason in reasons if reason in REASON_TEXTS]
    return " ".join(sentences)


def if_nothing_is_ordered(
    run_out_probability: Sequence[float], first_short_week: int, weeks: Sequence[IsoWeek]
) -> str:
    """Say what happens to the shelf without any new order."""
    last = len(weeks) - 1
    if first_short_week < 0:
        return (
            f"Nothing has to be ordered: the shelf holds to the end of week {weeks[last]}, and runs out before "
            f"with a probability of {chance(run_out_probability[last])}."
        )
    first = f"week {weeks[first_short_week]} runs short with a probability of"
    sentence = f"If nothing is ordered, {first} {chance(run_out_probability[first_short_week])}"
    if first_short_week == last:
        return f"{sentence}."
    return f"{sentence}, and by the end of week {weeks[last]} it is {chance(run_out_probability[last])}."


def before_first_arrival(probability: float, arrives_on: date) -> str:
    """Say what no order can prevent any more."""
    return (
        f"What is ordered today is counted on from {arrives_on}; until then the shelf runs out with a "
        f"probability of {chance(probability)}."
    )
