"""Request and answer models of replaced instrument clusters."""

from typing import Annotated

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from service.api.inputs import Body
from service.api.schemas.readings import ReadingRead
from service.domain import plausibility
from service.domain.units_of_distance import DistanceUnit

Odometer = Annotated[
    float,
    Field(ge=plausibility.ODOMETER_KM.minimum, le=plausibility.ODOMETER_KM.maximum, allow_inf_nan=False),
]


class ClusterReplacement(Body):
    """The last number of the old cluster and the first of the new one."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"replaced_at": "2026-05-02T10:00:00+02:00", "old_odometer": 184210, "new_odometer": 12}
            ]
        }
    )

    replaced_at: AwareDatetime
    old_odometer: Odometer
    new_odometer: Odometer
    unit: DistanceUnit | None = Field(default=None, description="The vehicle's own if left out.")


class ClusterReplaced(BaseModel):
    """The two readings that record it; everything since is on the vehicle's continuous series."""

    readings: list[ReadingRead]
