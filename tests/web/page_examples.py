"""An example of every page, by the application's own routes: a page without one fails the check of the browser."""

from collections.abc import Iterator
from datetime import timedelta

from service.store.session import Database
from service.usecases.access.caller import system_caller
from service.usecases.fleet.driver_links import make_link
from service.web.application import ROUTERS
from tests.service_fixtures import HandClock, Operator
from tests.web.small_fleet import FRIDAY

FILES = {
    "/due-lists/{week}.{kind}",
    "/vehicles/{vehicle}/job-sheet.pdf",
    "/driver/{code}/card.pdf",
    "/stock/count-sheet.pdf",
    "/stock/used-fluid-label.pdf",
    "/stock/order-plan.{kind}",
}
"""What is downloaded and not drawn as a page."""

EXAMPLES: dict[str, dict[str, str]] = {
    "/": {"this-week": "/"},
    "/due-lists/{week}": {"week": "/due-lists/2026-W19", "draft": "/due-lists/2026-W21"},
    "/lines/{line}": {"line": "/lines/lin_1"},
    "/reading": {"own-reading": "/reading?vehicle=VAN-99"},
    "/vehicles": {"vehicles": "/vehicles"},
    "/vehicles/new": {"vehicle-new": "/vehicles/new"},
    "/vehicles/{vehicle}": {"vehicle": "/vehicles/VAN-01"},
    "/vehicles/{vehicle}/change": {"vehicle-change": "/vehicles/VAN-01/change"},
    "/vehicles/{vehicle}/reading": {"reading": "/vehicles/VAN-01/reading"},
    "/vehicles/{vehicle}/job-sheet": {"job-sheet": "/vehicles/VAN-01/job-sheet"},
    "/vehicles/{vehicle}/sample": {"sample": "/vehicles/VAN-01/sample"},
    "/services/{service}": {"service": "/services/srv_1"},
    "/samples/{sample}": {"sample-record": "/samples/smp_1"},
    "/vehicles/{vehicle}/day": {"day": "/vehicles/VAN-01/day?week=2026-W21"},
    "/vehicles/{vehicle}/compartments/new": {"compartment-new": "/vehicles/VAN-01/compartments/new"},
    "/compartments/{compartment}/change": {"compartment-change": "/compartments/cmp_1/change"},
    "/stock": {"stock": "/stock"},
    "/stock/new": {"article-new": "/stock/new"},
    "/stock/fluids/{article}": {"fluid-change": "/stock/fluids/fld_1"},
    "/stock/parts/{article}": {"part-change": "/stock/parts/prt_1"},
    "/accuracy": {"accuracy": "/accuracy"},
    "/settings": {"settings": "/settings"},
    "/settings/people": {"people": "/settings/people"},
    "/settings/tokens": {"tokens": "/settings/tokens"},
    "/settings/planning": {"planning": "/settings/planning"},
    "/settings/machines": {"machines": "/settings/machines"},
    "/settings/machines/{source}": {"machine-source": "/settings/machines/src_1"},
    "/start": {"start": "/start"},
    "/password": {"password": "/password"},
    "/sign-in": {"sign-in": "/sign-in"},
    "/sign-in/{code}": {"sign-in-link": "/sign-in/AnInventedCodeThatIsLongEnough"},
    "/driver/{code}": {"driver": "/driver/{link}"},
}
NOT_THERE = {"no-page": "/no-such-page"}
PAGES = {name: path for examples in EXAMPLES.values() for name, path in examples.items()} | NOT_THERE


def pages_of_the_application() -> Iterator[str]:
    """Every address that the application answers with a page."""
    for router in ROUTERS:
        for route in router.routes:
            if "GET" in route.methods and route.path not in FILES:  # type: ignore[attr-defined]
                yield route.path  # type: ignore[attr-defined]


def furnish(operator: Operator) -> None:
    """Things that the pages show beside a small fleet: a held reading, a part with packs, records of a fluid that is on
    no shelf, a machine with a held reading."""
    held = {"vehicle": "VAN-01", "taken_at": FRIDAY.isoformat(), "odometer": 7_990, "source": "driver"}
    assert operator.post("/v1/readings", {"readings": [held]}).json()["held"] == 1
    part = {"part": "drain plug washer", "packs": [{"pieces": 10, "price_minor": 800}]}
    assert operator.post("/v1/parts", part).status_code == 201
    work = {
        "compartment": "coolant",
        "method": "top_up",
        "rounds": [{"drained_litres": 0, "filled_litres": 0.25}],
    }
    topped_up = {"vehicle": "TRUCK-1", "done_at": "2026-04-20T09:00:00Z", "compartments": [work]}
    assert operator.post("/v1/services", topped_up).status_code == 201
    sample = {"vehicle": "TRUCK-1", "compartment": "coolant", "taken_at": "2026-04-20T08:50:00Z"}
    sample |= {"laboratory": {"glycol_fraction": 0.5, "ph": 7.9}}
    assert operator.post("/v1/samples", sample).status_code == 201
    assert operator.post("/v1/machine-sources", {"name": "Box of vans"}).status_code == 201
    for day, odometer in (("04-30", 79950.0), ("05-01", 7998.0)):
        distance = {
            "datetime": f"2026-{day}T05:30:00Z",
            "OdometerUnits": "kilometre",
            "Odometer": odometer,
        }
        machine = {"EquipmentHeader": {"EquipmentID": "box 12"}, "Distance": distance}
        answer = operator.post("/v1/machine-sources/src_1/documents", {"Equipment": [machine]})
        assert answer.status_code == 200, answer.text


def driver_link(database: Database, organisation_id: int, clock: HandClock) -> str:
    """Secret of a driver's link for a van."""
    with database.transaction() as session:
        ends = clock.now() + timedelta(days=30)
        caller = system_caller(organisation_id, "test")
        return make_link(session, caller, clock.now(), "VAN-01", "Sun visor", ends)[1]
