"""Replaced instrument clusters and hour meters: the numbers start anew, distance and hours go on."""

from fastapi import APIRouter, Response

from service.api.inputs import VehiclePath
from service.api.problems import describe_problems
from service.api.schemas.clusters import ClusterReplaced, ClusterReplacement
from service.api.schemas.readings import ReadingRead
from service.api.token_first import TokenFirst
from service.api.units_of_work import Writing
from service.store.repositories import fleet
from service.usecases.readings.replace_cluster import Replacement, replace_cluster

router = APIRouter(tags=["readings"], route_class=TokenFirst)


@router.post(
    "/vehicles/{vehicle}/cluster-replacements",
    operation_id="replace_cluster",
    summary="Record a replaced instrument cluster or hour meter",
    status_code=201,
    response_model=ClusterReplaced,
    responses=describe_problems(404, 409, 422),
)
def post_cluster_replacement(vehicle: VehiclePath, body: ClusterReplacement, unit: Writing) -> Response:
    """Say with which numbers the old instrument ended and the new one began; readings since are judged anew."""
    replacement = Replacement(
        replaced_at=body.replaced_at,
        old_odometer=body.old_odometer,
        new_odometer=body.new_odometer,
        unit=body.unit,
        old_engine_hours=body.old_engine_hours,
        new_engine_hours=body.new_engine_hours,
    )
    stored = replace_cluster(unit.session, unit.caller, unit.now, vehicle, replacement)
    owner = fleet.get_vehicle(unit.session, unit.caller.organisation_id, vehicle)
    shown = ClusterReplaced(readings=[ReadingRead.of(reading, owner.reference) for reading in stored])
    return unit.created(shown, f"/v1/vehicles/{owner.reference}/readings")
