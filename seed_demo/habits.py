"""How each class of vehicle is used in this demonstration; every number is invented."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from seed_demo.process import Habit
from service.domain.vehicle_classes import VehicleClass

_WORKING_DAYS: Final = (1.35, 1.35, 1.35, 1.35, 1.35, 0.25, 0.0)

HABITS: Final[Mapping[VehicleClass, Habit]] = MappingProxyType(
    {
        VehicleClass.CAR: Habit(
            km_per_day=45,
            base_log_sd=0.40,
            season_amplitude=0.10,
            season_peak_day=196,
            weekday_weights=(1.1, 1.1, 1.1, 1.1, 1.2, 0.8, 0.6),
            weekly_log_sd=0.25,
            park_probability=0.03,
            daily_variation=0.6,
            km_per_hour=None,
            reading_gap_days=21,
        ),
        VehicleClass.VAN: Habit(
            km_per_day=85,
            base_log_sd=0.35,
            season_amplitude=0.08,
            season_peak_day=340,
            weekday_weights=(1.3, 1.3, 1.3, 1.3, 1.3, 0.4, 0.1),
            weekly_log_sd=0.15,
            park_probability=0.015,
            daily_variation=0.35,
            km_per_hour=None,
            reading_gap_days=12,
        ),
        VehicleClass.TRUCK: Habit(
            km_per_day=240,
            base_log_sd=0.30,
            season_amplitude=0.10,
            season_peak_day=280,
            weekday_weights=_WORKING_DAYS,
            weekly_log_sd=0.15,
            park_probability=0.012,
            daily_variation=0.4,
            km_per_hour=None,
            reading_gap_days=6,
        ),
        VehicleClass.BUS: Habit(
            km_per_day=150,
            base_log_sd=0.25,
            season_amplitude=0.06,
            season_peak_day=320,
            weekday_weights=(1.1, 1.1, 1.1, 1.1, 1.1, 0.85, 0.65),
            weekly_log_sd=0.06,
            park_probability=0.01,
            daily_variation=0.15,
            km_per_hour=None,
            reading_gap_days=4,
        ),
        VehicleClass.TRACTOR: Habit(
            km_per_day=14,
            base_log_sd=0.35,
            season_amplitude=0.6,
            season_peak_day=190,
            weekday_weights=(1.15, 1.15, 1.15, 1.15, 1.15, 0.9, 0.35),
            weekly_log_sd=0.3,
            park_probability=0.03,
            daily_variation=0.6,
            km_per_hour=6.0,
            reading_gap_days=14,
        ),
        VehicleClass.OTHER_MACHINE: Habit(
            km_per_day=3,
            base_log_sd=0.30,
            season_amplitude=0.25,
            season_peak_day=170,
            weekday_weights=_WORKING_DAYS,
            weekly_log_sd=0.2,
            park_probability=0.03,
            daily_variation=0.5,
            km_per_hour=1.2,
            reading_gap_days=14,
        ),
    }
)
