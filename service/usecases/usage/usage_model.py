"""What a fleet teaches about the use of its vehicles: how much and how unevenly each class is driven."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Final

import numpy as np
from sqlmodel import Session

from service.domain.vehicle_classes import CLASS_DEFAULTS, VehicleClass
from service.engine.arrays import Integers
from service.engine.demand.usage_shock import DEFAULT_LOG_SD
from service.engine.demand.usage_shock_fit import fit_usage_shock
from service.engine.usage.fit import fit_classes
from service.engine.usage.hyperparameters import (
    DEFAULT_HYPERPARAMETERS,
    Hyperparameters,
    VehicleHyperparameters,
)
from service.engine.usage.priors import CONFIGURED_LOG_RATE_SD, RatePriors, fit_priors
from service.engine.usage.season import HARMONICS, NO_SEASON, Season, fit_seasons, seasons_of_vehicles
from service.store.repositories import fleet
from service.store.repositories.meter_histories import meter_histories
from service.store.tables.projections import UsageModel

MOST_VEHICLES: Final = 3_000
"""A fleet of this size says as much about its shared numbers as a larger one."""

LEAST_VEHICLES: Final = 20
"""Below this the defaults know more."""

FITTED_FOR: Final = timedelta(days=7)
CLASSES: Final = tuple(VehicleClass)


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownUsage:
    """Shared numbers of a fleet, by class in the order of `CLASSES`."""

    hyperparameters: tuple[Hyperparameters, ...]
    odometer: RatePriors
    hours: RatePriors
    seasons: tuple[Season, ...]

    def odometer_priors(self, classes: Sequence[str]) -> RatePriors:
        """Priors of vehicles of these classes."""
        return self.odometer.take(_class_index(classes))

    def hyperparameters_of(self, classes: Sequence[str]) -> VehicleHyperparameters:
        """How the daily distances of vehicles of these classes vary."""
        return VehicleHyperparameters.of_classes(self.hyperparameters, _class_index(classes))

    def hours_priors(self, classes: Sequence[str]) -> RatePriors:
        """The same for their hour meters."""
        return self.hours.take(_class_index(classes))

    def seasons_of(self, classes: Sequence[str]) -> Season:
        """Yearly seasons of their distances."""
        return seasons_of_vehicles(self.seasons, _class_index(classes))

    @property
    def has_one_season(self) -> bool:
        """Whether all classes have the same, so that nobody needs to know a vehicle's class."""
        return all(season == self.seasons[0] for season in self.seasons)


def known_usage(session: Session, organisation_id: int) -> KnownUsage:
    """What was fitted for an organisation, or what is assumed of any."""
    model = session.get(UsageModel, organisation_id)
    if model is None:
        return KnownUsage(
            hyperparameters=(DEFAULT_HYPERPARAMETERS,) * len(CLASSES),
            odometer=_assumed("km_per_day"),
            hours=_assumed_hours(),
            seasons=(NO_SEASON,) * len(CLASSES),
        )
    return KnownUsage(
        hyperparameters=tuple(Hyperparameters(**model.hyperparameters[name]) for name in CLASSES),
        odometer=RatePriors(
            log_rate=np.array([model.log_rate_by_class[name] for name in CLASSES]),
            log_rate_sd=np.array([model.log_rate_sd_by_class[name] for name in CLASSES]),
        ),
        hours=_assumed_hours(),
        seasons=tuple(_season(model.season_by_class[name]) for name in CLASSES),
    )


def shared_log_sd(session: Session, organisation_id: int) -> float:
    """How much the use of the whole fleet swings, as fitted, or as is assumed of any fleet."""
    model = session.get(UsageModel, organisation_id)
    known = None if model is None else model.shared_log_sd
    return DEFAULT_LOG_SD if known is None else known


def vehicle_classes(session: Session, organisation_id: int, vehicle_ids: Sequence[int]) -> list[str]:
    """Classes of vehicles, in the order asked for."""
    found = fleet.classes_of_vehicles(session, organisation_id, vehicle_ids)
    return [found[key] for key in vehicle_ids]


def is_due_for_fit(session: Session, organisation_id: int, now: datetime) -> bool:
    """Whether the shared numbers are a week old or were never fitted."""
    model = session.get(UsageModel, organisation_id)
    return model is None or now - model.fitted_at >= FITTED_FOR


def fit_usage_model(session: Session, organisation_id: int, now: datetime) -> UsageModel | None:
    """Fit the shared numbers from stored readings; none while the fleet is too small to teach anything."""
    in_use = fleet.classes_in_use(session, organisation_id, MOST_VEHICLES)
    if len(in_use) < LEAST_VEHICLES:
        return None
    index = _class_index(list(in_use.values()))
    history, _ = meter_histories(session, organisation_id, list(in_use))
    priors = fit_priors(history.time_days, history.value, history.offsets, index, len(CLASSES))
    seasons = fit_seasons(history.time_days, history.value, history.offsets, index, len(CLASSES))
    own = seasons_of_vehicles(seasons, np.repeat(index, np.diff(history.offsets)))
    even_days = own.operational_days(history.time_days)
    fitted = fit_classes(
        even_days, history.value, history.offsets,
        priors.take(index), index, len(CLASSES),
    )  # fmt: skip
    return UsageModel(
        organisation_id=organisation_id,
        fitted_at=now,
        n_vehicles=len(in_use),
        shared_log_sd=fit_usage_shock(even_days, history.value, history.offsets),
        hyperparameters={str(name): asdict(one) for name, one in zip(CLASSES, fitted, strict=True)},
        log_rate_by_class=dict(zip(map(str, CLASSES), priors.log_rate.tolist(), strict=True)),
        log_rate_sd_by_class=dict(zip(map(str, CLASSES), priors.log_rate_sd.tolist(), strict=True)),
        season_by_class={
            str(name): np.concatenate([season.sine, season.cosine, season.weekday_factor]).tolist()
            for name, season in zip(CLASSES, seasons, strict=True)
        },
    )


def keep_usage_model(session: Session, model: UsageModel) -> None:
    """Store what was fitted; states of vehicles are computed with it as their readings come in."""
    session.merge(model)


def _class_index(classes: Sequence[str]) -> Integers:
    place_of = {str(name): place for place, name in enumerate(CLASSES)}
    return np.array([place_of[name] for name in classes], dtype=np.int64)


def _season(stored: Sequence[float]) -> Season:
    numbers = [float(one) for one in stored]
    n = len(HARMONICS)
    return Season(
        sine=tuple(numbers[:n]), cosine=tuple(numbers[n : 2 * n]), weekday_factor=tuple(numbers[2 * n :])
    )


def _assumed(name: str) -> RatePriors:
    rates = [getattr(CLASS_DEFAULTS[vehicle_class], name).value for vehicle_class in CLASSES]
    return RatePriors(log_rate=np.log(rates), log_rate_sd=np.full(len(CLASSES), CONFIGURED_LOG_RATE_SD))


def _assumed_hours() -> RatePriors:
    return _assumed("engine_hours_per_day")
