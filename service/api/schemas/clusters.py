"""Request and answer models of replaced instrument clusters."""

from pydantic import BaseModel, ConfigDict, Field

from service.api.inputs import Body, Instant, Odometer
from service.api.schemas.readings import ReadingRead
from service.domain.units_of_distance import DistanceUnit


class ClusterReplacement(Body):
    """The last number of the old cluster and the first of the new one."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"replaced_at": "2026-05-02T10:00:00+02:00", "old_odometer": 184210, "new_odometer": 12}
            ]
        }
    )

    replaced_at: Instant
    old_odometer: Odometer
    new_odometer: Odometer
    unit: DistanceUnit | None = Field(default=None, description="The vehicle's own if left out.")


class ClusterReplaced(BaseModel):
    """The two readings that record it; everything since is on the vehicle's continuous series."""

    readings: list[ReadingRead]
