"""Request and answer models of replaced instrument clusters and hour meters."""

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import Body, EngineHours, Instant, Odometer
from service.api.schemas.readings import ReadingRead
from service.domain.units_of_distance import DistanceUnit


class ClusterReplacement(Body):
    """The last numbers of the old instrument and the first of the new one: of the odometer, the hour meter, or both."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"replaced_at": "2026-05-02T10:00:00+02:00", "old_odometer": 184210, "new_odometer": 12},
                {
                    "replaced_at": "2026-05-02T10:00:00+02:00",
                    "old_engine_hours": 7215.5,
                    "new_engine_hours": 0,
                },
            ]
        }
    )

    replaced_at: Instant
    old_odometer: Odometer | None = Field(
        default=None, description="Refused where the readings before it do not lead there."
    )
    new_odometer: Odometer | None = None
    unit: DistanceUnit | None = Field(default=None, description="The vehicle's own if left out.")
    old_engine_hours: EngineHours | None = Field(
        default=None, description="If left out, the new meter goes on from the last hours that are believed."
    )
    new_engine_hours: EngineHours | None = None


class ClusterReplaced(BaseModel):
    """The readings that record it; everything since is on the vehicle's continuous series."""

    readings: list[ReadingRead]
