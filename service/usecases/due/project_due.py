"""When the fluids of vehicles are due: stored states and readings in, a forecast for every compartment out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.domain.due_reasons import Limit
from service.domain.weeks import IsoWeek, weeks_from
from service.domain.zones import first_instant
from service.engine.arrays import Floats, Integers
from service.engine.due.forecast import DueForecast, forecast_due
from service.engine.due.limits import CompartmentLimits, Condition, Meter
from service.engine.due.limits import Limit as LimitCode
from service.engine.exchange.state import FluidState
from service.engine.usage.state import UsageState
from service.store.repositories import projections
from service.store.repositories.projections import COMPARTMENT_COLUMNS
from service.usecases.due.age_fluids import age_to_now, age_to_reading, numbers_of
from service.usecases.fluids.fitted_rates import with_fits
from service.usecases.fluids.fluid_parameters import CompartmentParameters, parameters_of
from service.usecases.fluids.lasting_states import vehicles_to_follow
from service.usecases.fluids.update_states import state_rows
from service.usecases.usage.engine_time import civil_dates, day_fraction, days_of
from service.usecases.usage.estimate_usage import FleetUsage, meter

N_WEEKS: Final = 26
DUE_PROBABILITIES: Final = (0.1, 0.5, 0.9)

LIMIT_BY_CODE: Final = {
    LimitCode.DISTANCE: Limit.DISTANCE,
    LimitCode.CALENDAR: Limit.CALENDAR,
    LimitCode.HOURS: Limit.HOURS,
    LimitCode.CONDITION: Limit.CONDITION,
    LimitCode.CONTAMINATION: Limit.CONTAMINATION,
}
_NAMES: Final = np.array([str(LIMIT_BY_CODE.get(code, "none")) for code in LimitCode])
_COLUMN_OF_LIMIT: Final = [{name: int(code) for code, name in LIMIT_BY_CODE.items()}[name] for name in Limit]


@dataclass(frozen=True, slots=True, kw_only=True)
class DueQuestion:
    """What the forecast was asked, so that it can be asked again of vehicles that run more or less."""

    limits: CompartmentLimits
    odometer: Meter
    hours: Meter | None
    week_end_days: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetProjection:
    """A forecast of n compartments; lists and arrays have one entry a compartment."""

    now: datetime
    today: date
    compartments: dict[str, list[Any]]
    """Columns as they were read: those that were wanted, see `store.repositories.projections`."""

    vehicle_row: Integers
    parameters: CompartmentParameters
    fluid_now: FluidState
    """Life used, aged to now by the expected use; what else is in the fluid was not read and counts as none."""

    question: DueQuestion
    due: DueForecast
    due_days: NDArray[np.datetime64]
    """P10, P50 and P90, or what was asked for, as civil dates in the organisation's zone; NaT beyond the horizon."""

    weeks: tuple[IsoWeek, ...]
    expected_odometer_km: Floats
    expected_hours: Floats
    """Mean of the meters now, one a vehicle; of no meaning for a vehicle without a reading."""

    def __len__(self) -> int:
        return len(self.compartments["id"])

    @property
    def due_dates(self) -> tuple[list[date | None], list[date | None], list[date | None]]:
        """P10, P50 and P90 as dates; none beyond the horizon."""
        low, middle, high = (column.tolist() for column in self.due_days.T)
        return low, middle, high

    def due_dates_of(self, place: int) -> tuple[date | None, date | None, date | None]:
        """Those of one compartment."""
        low, middle, high = self.due_days[place].tolist()
        return low, middle, high

    def limit_of(self, place: int) -> Limit | None:
        """Limit that most likely bites first."""
        return LIMIT_BY_CODE.get(LimitCode(int(self.due.biting_limit[place])))

    def limit_names(self) -> NDArray[np.str_]:
        """Name of that limit of every compartment, or `none`."""
        return _NAMES[self.due.biting_limit]

    def limit_probabilities(self, place: int) -> dict[str, float]:
        """Probability of being the first limit reached within the horizon, by limit; what is impossible is left out."""
        row = self.due.limit_probability[place].tolist()
        return {str(name): row[code] for code, name in LIMIT_BY_CODE.items() if row[code] > 0.0}

    def probabilities_by_limit(self) -> Floats:
        """Those of every compartment, a column a `Limit` of the domain."""
        return self.due.limit_probability[:, _COLUMN_OF_LIMIT]


def project_due(
    session: Session,
    organisation_id: int,
    vehicle_ids: Sequence[int],
    usage: FleetUsage,
    now: datetime,
    zone: ZoneInfo,
    wanted: Sequence[Any] = COMPARTMENT_COLUMNS,
    probabilities: Sequence[float] = DUE_PROBABILITIES,
) -> FleetProjection:
    """Forecast every compartment of some vehicles, whose use is given in the same order, from the columns wanted."""
    columns = read_current(session, organisation_id, vehicle_ids, usage, wanted)
    return project_columns(session, organisation_id, vehicle_ids, columns, usage, now, zone, probabilities)


def project_columns(
    session: Session,
    organisation_id: int,
    vehicle_ids: Sequence[int],
    columns: dict[str, list[Any]],
    usage: FleetUsage,
    now: datetime,
    zone: ZoneInfo,
    probabilities: Sequence[float],
) -> FleetProjection:
    """Forecast compartments that were read already."""
    place_of = {vehicle_id: place for place, vehicle_id in enumerate(vehicle_ids)}
    vehicle_row = np.array([place_of[key] for key in columns["vehicle_id"]], dtype=np.int64)
    groups = columns["kind"], columns["vehicle_class"], columns["duty"]
    parameters = parameters_of(*groups, with_fits(session, organisation_id, *groups, columns["ageing"]))
    local = now.astimezone(zone)
    passed = day_fraction(local)
    at_reading = age_to_reading(columns, parameters, usage, vehicle_row, now)
    weeks = weeks_from(IsoWeek.of(local.date()), N_WEEKS)
    odometer, hours = meter(usage.odometer, now, usage.season), meter(usage.hours, now)
    km, engine_hours = _expected(usage.odometer, odometer), _expected(usage.hours, hours)
    question = DueQuestion(
        limits=_limits(columns, parameters, at_reading, vehicle_row, local.date(), passed),
        odometer=odometer,
        hours=hours if bool(np.any(usage.hours.n_readings > 0)) else None,
        week_end_days=_week_ends(weeks, now, zone),
    )
    due = forecast_due(
        question.limits,
        question.odometer,
        question.hours,
        week_end_days=question.week_end_days,
        probabilities=np.array(probabilities),
    )
    return FleetProjection(
        now=now,
        today=local.date(),
        compartments=columns,
        vehicle_row=vehicle_row,
        parameters=parameters,
        fluid_now=age_to_now(at_reading, parameters, vehicle_row, (km, engine_hours, _days(usage, now))),
        question=question,
        due=due,
        due_days=civil_dates(local.date(), passed, due.days_ahead),
        weeks=weeks,
        expected_odometer_km=usage.odometer.last_odometer_km + km,
        expected_hours=usage.hours.last_odometer_km + engine_hours,
    )


def read_current(
    session: Session,
    organisation_id: int,
    vehicle_ids: Sequence[int],
    usage: FleetUsage,
    wanted: Sequence[Any] = COMPARTMENT_COLUMNS,
) -> dict[str, list[Any]]:
    """Read compartments with their states; what rests on readings that changed since is followed anew, not stored."""
    columns = projections.read_compartments(session, organisation_id, vehicle_ids, wanted)
    return followed(session, organisation_id, vehicle_ids, usage, columns)


def followed(
    session: Session,
    organisation_id: int,
    vehicle_ids: Sequence[int],
    usage: FleetUsage,
    columns: dict[str, list[Any]],
) -> dict[str, list[Any]]:
    """Follow what rests on readings that changed since; its new states take the place of those that were read."""
    moved = [] if usage.is_stored else vehicles_to_follow(session, organisation_id, vehicle_ids, usage)
    if moved:
        place_of = {key: place for place, key in enumerate(columns["id"])}
        for row in state_rows(session, organisation_id, moved):
            for name in row.keys() & columns.keys() - {"vehicle_id"}:
                columns[name][place_of[row["compartment_id"]]] = row[name]
    return columns


def _expected(state: UsageState, table: Meter) -> Floats:
    """What a meter is expected to have added since it was read."""
    mean, _ = table.moments(np.arange(len(state), dtype=np.int64), table.days_since_reading)
    return np.where(state.n_readings > 0, mean, 0.0)


def _days(usage: FleetUsage, now: datetime) -> Floats:
    return np.where(
        usage.odometer.n_readings > 0, np.maximum(days_of(now) - usage.last_read_days(), 0.0), 0.0
    )


def _limits(
    columns: dict[str, list[Any]],
    parameters: CompartmentParameters,
    fluid: FluidState,
    vehicle_row: Integers,
    today: date,
    passed: float,
) -> CompartmentLimits:
    rates, duty = parameters.rates, parameters.duty_multiplier
    due_on = np.array([np.nan if day is None else day.toordinal() for day in columns["due_on"]])
    return CompartmentLimits(
        vehicle_row=vehicle_row,
        distance_km=numbers_of(columns, "due_odometer_km"),
        hours=numbers_of(columns, "due_engine_hours"),
        calendar_days_ahead=due_on - today.toordinal() - passed,
        is_contaminated=np.array(columns["is_contaminated"], dtype=bool),
        condition=Condition(
            life_used_fraction=fluid.life_used,
            life_used_sd_fraction=np.sqrt(fluid.life_used_variance),
            life_limit_fraction=1.0 - parameters.planning_reserve_fraction,
            life_per_km=duty / rates.distance_limit_km,
            life_per_day=1.0 / np.asarray(rates.time_limit_days),
            life_per_hour=1.0 / np.asarray(rates.hours_limit),
            rate_cv_fraction=np.asarray(rates.life_coefficient_of_variation),
        ),
    )


def _week_ends(weeks: Sequence[IsoWeek], now: datetime, zone: ZoneInfo) -> Floats:
    """Days from now to the end of each week, daylight saving counted."""
    ends = [first_instant(week.shifted(1).first_day, datetime.min.time(), zone) for week in weeks]
    return np.array([(end.astimezone(UTC) - now) / timedelta(days=1) for end in ends])
