"""What was done at each service, and the state that it left the fluid in."""

import math
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Final

import numpy as np

from seed_demo import cast
from seed_demo.grades import grade_of
from seed_demo.process import LIFE_DAYS
from seed_demo.records import DemoCompartment, DemoCompartmentWork, DemoRound, TrueCompartment
from seed_demo.timetable import Timetable
from seed_demo.wear import Fill, first_due, life_grown, used_by_limit
from service.domain.due_reasons import Limit
from service.domain.exchange_methods import ExchangeMethod
from service.domain.fluid_exchange_defaults import EXCHANGE_DEFAULTS
from service.domain.fluid_kinds import AUTOMATIC_KINDS, FluidKind
from service.domain.intervals import months_after

LINE_EXCHANGE_SHARE: Final = 1.5
"""Litres passed through in a line exchange, as a share of the whole charge."""
TOP_UP_LITRES: Final = 2.0
TOP_UP_BEFORE_NOW_DAYS: Final = 19.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One compartment's part of a visit."""

    row: int
    day: float
    work: DemoCompartmentWork


@dataclass(frozen=True, slots=True, kw_only=True)
class Upkeep:
    """The works on one compartment, the charge that is in it now, and the truth about it."""

    table: Timetable
    works: tuple[Work, ...]
    fill: Fill


def carry_out(table: Timetable, rng: np.random.Generator) -> Upkeep:
    """Go through the services of one compartment from the oldest on."""
    key = (table.compartment.vehicle, table.compartment.compartment)
    life = table.wear.life_at_due * float(rng.uniform(0.75, 1.0))
    fill = Fill(day=table.days[0], life_used=life, schedule_used=1.0, fresh_share=0.0)
    works = []
    for day in table.days:
        is_last = day == table.days[-1]
        before = _aged(table, fill, day)
        if is_last and key == cast.LINE_EXCHANGED:
            work, left = _exchange_by_line(table.compartment)
        else:
            has_window = table.compartment.level_min_celsius is not None
            excess = round(float(rng.uniform(0.1, 0.4)), 2) if has_window else 0.0
            drained = _drained_litres(table, before, excess, rng, is_last=is_last)
            work, left = _drain_and_fill(table.compartment, drained, excess, rng)
        grade = grade_of(before.life_used, rng).value if _is_graded(table.compartment) else None
        works.append(Work(row=table.row, day=day, work=replace(work, old_fluid_grade=grade)))
        fill = _after(before, day, left, is_full=table.compartment.partial_is_full)
    if key == cast.TOPPED_UP:
        day = LIFE_DAYS - TOP_UP_BEFORE_NOW_DAYS
        works.append(Work(row=table.row, day=day, work=_top_up(table.compartment)))
        topped = 1.0 - TOP_UP_LITRES / table.compartment.total_litres
        fill = _topped(table, fill, day, topped)
    return Upkeep(table=table, works=tuple(works), fill=fill)


def tell_truth(upkeep: Upkeep, now_day: float, first_on: date) -> TrueCompartment:
    """State what is in the compartment now and when it falls due."""
    table, fill = upkeep.table, upkeep.fill
    last_on = first_on + timedelta(days=int(table.days[-1]))
    months = table.compartment.interval_months
    due_on = months_after(last_on, months) if months and fill.schedule_used == 0.0 else None
    due = first_due(table.wear, table.past, fill, first_on, due_on)
    if (table.compartment.vehicle, table.compartment.compartment) == cast.CONTAMINATED:
        due = first_on + timedelta(days=int(now_day)), Limit.CONTAMINATION.value
    return TrueCompartment(
        vehicle=table.compartment.vehicle,
        compartment=table.compartment.compartment,
        life_used=fill.life_used + float(life_grown(table.wear, table.past, fill.day, now_day)),
        fresh_share=fill.fresh_share,
        last_service_on=last_on,
        due_on=due[0] if due else None,
        limit=due[1] if due else None,
    )


def _aged(table: Timetable, fill: Fill, day: float) -> Fill:
    used = used_by_limit(table.wear, table.past, fill, day)
    schedule = max(float(used[limit]) for limit in ("distance", "calendar", "hours"))
    life = fill.life_used + float(life_grown(table.wear, table.past, fill.day, day))
    return Fill(day=day, life_used=life, schedule_used=schedule, fresh_share=fill.fresh_share)


def _after(before: Fill, day: float, left: float, *, is_full: bool) -> Fill:
    schedule = 0.0 if is_full else before.schedule_used * left
    return Fill(day=day, life_used=before.life_used * left, schedule_used=schedule, fresh_share=1.0 - left)


def _topped(table: Timetable, fill: Fill, day: float, left: float) -> Fill:
    """Put off by what the fresh litres are worth; the schedule does not change for a top-up."""
    life_now = fill.life_used + float(life_grown(table.wear, table.past, fill.day, day))
    return Fill(
        day=fill.day,
        life_used=fill.life_used - life_now * (1.0 - left),
        schedule_used=fill.schedule_used,
        fresh_share=fill.fresh_share * left + 1.0 - left,
    )


def _drained_litres(
    table: Timetable, before: Fill, excess: float, rng: np.random.Generator, *, is_last: bool
) -> tuple[float, ...]:
    """Litres drained in each round; the last planned one leaves just so much that the plan comes true."""
    total, usual = table.compartment.total_litres, table.compartment.drainable_litres
    if is_last and table.due_day is not None and table.planned and table.planned.limit == "condition":
        grown = float(life_grown(table.wear, table.past, before.day, table.due_day))
        left = (table.wear.life_at_due - grown) / before.life_used
        drained_once = total - left * (total + excess)
        possible = float(np.clip(drained_once, 0.1 * total, 0.9 * total))
        return (math.floor(possible * 100.0) / 100.0,)
    drained = usual * (1.0 + 0.03 * rng.standard_normal(table.n_rounds))
    return tuple(round(float(litres), 2) for litres in np.clip(drained, 0.3 * usual, 0.97 * total))


def _drain_and_fill(
    compartment: DemoCompartment, drained: tuple[float, ...], excess: float, rng: np.random.Generator
) -> tuple[DemoCompartmentWork, float]:
    """Refill each round with what came out, the last one with a little more that the level check sheds."""
    extra = [0.0] * (len(drained) - 1) + [excess]
    rounds = tuple(
        DemoRound(drained_litres=out, filled_litres=round(out + more, 2))
        for out, more in zip(drained, extra, strict=True)
    )
    total = compartment.total_litres
    left = math.prod(
        (total - done.drained_litres) / (total - done.drained_litres + done.filled_litres) for done in rounds
    )
    method = EXCHANGE_DEFAULTS[FluidKind(compartment.kind)].method
    level = None
    if compartment.level_min_celsius is not None and compartment.level_max_celsius is not None:
        level = round(float(rng.uniform(compartment.level_min_celsius, compartment.level_max_celsius)))
    work = DemoCompartmentWork(
        compartment=compartment.compartment,
        method=method.value,
        rounds=rounds,
        fluid=compartment.fluid,
        level_celsius=level,
        excess_drained_litres=excess if level is not None else None,
        counter_reset=True if compartment.has_fluid_counter else None,
        seals_renewed=bool(compartment.seals) or None,
    )
    return work, left


def _exchange_by_line(compartment: DemoCompartment) -> tuple[DemoCompartmentWork, float]:
    """Pass fresh fluid through; two equal tanks in a row leave e^{-2θ}(1 + 2θ) of the old fluid."""
    theta = LINE_EXCHANGE_SHARE
    work = DemoCompartmentWork(
        compartment=compartment.compartment,
        method=ExchangeMethod.LINE_EXCHANGE.value,
        rounds=(),
        passed_litres=round(theta * compartment.total_litres, 1),
        fluid=compartment.fluid,
        level_celsius=compartment.level_min_celsius,
        excess_drained_litres=0.0,
        counter_reset=True,
        seals_renewed=True,
    )
    return work, math.exp(-2.0 * theta) * (1.0 + 2.0 * theta)


def _top_up(compartment: DemoCompartment) -> DemoCompartmentWork:
    return DemoCompartmentWork(
        compartment=compartment.compartment,
        method=ExchangeMethod.TOP_UP.value,
        rounds=(DemoRound(drained_litres=0.0, filled_litres=TOP_UP_LITRES),),
        fluid=compartment.fluid,
    )


def _is_graded(compartment: DemoCompartment) -> bool:
    return FluidKind(compartment.kind) in AUTOMATIC_KINDS
