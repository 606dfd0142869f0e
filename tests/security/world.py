"""One invented organisation with something of every kind in it, so that every operation has something to act on."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tests.security.operations import Operation
from tests.service_fixtures import Operator

MARK = "Qqa"
"""In every name of the watched organisation, so that a leak is seen in any answer."""

NAMES = {
    "VAN-07": f"{MARK}-VAN",
    "ATF-A": f"{MARK}-ATF",
    "North": f"{MARK}-North",
    "gearbox": f"{MARK}-gearbox",
    "drain plug washer": f"{MARK}-washer",
}
HARMLESS_QUERIES = {
    "limit": None,
    "cursor": None,
    "time_zone": "Europe/Berlin",
    "reference": f"{MARK}-reference",
    "outcome": "held",
    "state": "placed",
    "kind": "receipt",
    "part": None,
    "weeks": 4,
    "stream": "lubricating_oil",
    "object_type": None,
    "object_number": None,
    "reason": f"{MARK} typed for the wrong vehicle",
}
"""Query parameters that point at nothing of anybody's; None leaves one out."""


@dataclass(slots=True)
class World:
    """What there is to act on: a value for every path parameter, for some operations one of their own."""

    operator: Operator
    paths: dict[str, str] = field(default_factory=dict)
    own_paths: dict[tuple[str, str], str] = field(default_factory=dict)
    ids: dict[str, str] = field(default_factory=dict)
    bodies: dict[str, Any] = field(default_factory=dict)

    def path_value(self, operation: Operation, name: str) -> str:
        """Value of a path parameter; an operation with a new kind of thing needs one entered in this file."""
        own = self.own_paths.get((operation.operation_id, name))
        value = own or self.paths.get(name)
        assert value, (
            f"{operation.operation_id}: no example for the path parameter {name!r}; add it to {__name__}"
        )
        return value

    def query(self, operation: Operation) -> dict[str, Any]:
        """Query parameters that name something of this organisation, and a few harmless ones."""
        chosen: dict[str, Any] = {}
        for name in operation.names_in("query"):
            assert name in HARMLESS_QUERIES or name in self.paths, (
                f"{operation.operation_id}: no example for the query parameter {name!r}; add it to {__name__}"
            )
            value = self.paths.get(name, HARMLESS_QUERIES.get(name))
            if value is not None and name not in {"reference", "outcome", "state", "kind"}:
                chosen[name] = value
        return chosen

    def body(self, operation: Operation, kind: str) -> Any:
        """The document's own example, with this organisation's names in it."""
        if operation.operation_id in self.bodies and kind == "application/json":
            return self.bodies[operation.operation_id]
        return renamed(operation.bodies[kind])


def renamed(value: Any, names: dict[str, str] | None = None) -> Any:
    """Put other names into an example."""
    names = NAMES if names is None else names
    if isinstance(value, dict):
        return {key: renamed(inner, names) for key, inner in value.items()}
    if isinstance(value, list):
        return [renamed(inner, names) for inner in value]
    if isinstance(value, str):
        for old, new in names.items():
            value = value.replace(old, new)
    return value


def found_world(operator: Operator, operations: dict[str, Operation]) -> World:
    """Fill an organisation through the public door with the examples of the document."""
    world = World(operator)
    made = _Maker(world, operations)
    fluid = made("add_fluid")
    vehicle = made("register_vehicle")
    world.paths |= {"vehicle": vehicle["vehicle"], "fluid": fluid["fluid"], "depot": NAMES["North"]}
    # Its numbers start anew; whatever else is done here is done to a vehicle whose numbers go on.
    renewed = made("register_vehicle", vehicle=f"{MARK}-renewed", vin=None)
    world.own_paths["replace_cluster", "vehicle"] = renewed["vehicle"]
    gearbox = made("register_compartment")
    world.paths["compartment"] = gearbox["id"]
    world.bodies["register_compartment"] = {"kind": "brake_fluid"}
    _overdue_compartment(operator)
    world.ids = {"vehicle": vehicle["id"], "fluid": fluid["id"], "compartment": gearbox["id"]}
    world.ids["depot"] = operator.get("/v1/depots").json()["depots"][0]["id"]
    made("record_readings")
    world.paths["reading"] = _readings(operator)
    made("record_movement")
    part = made("add_part")
    world.ids["part"] = part["id"]
    world.own_paths |= {(f"{name}_part", "part"): part["part"] for name in ("get", "change")}
    world.bodies["add_part"] = {"part": f"{MARK}-ring"}
    for name in ("get", "place", "receive", "cancel"):
        state = "planned" if name == "place" else "placed"
        order = made("make_purchase_order", state=state, reference=f"{MARK} order {name}")
        world.own_paths[f"{name}_purchase_order", "order"] = order["id"]
    world.paths |= {"sample": made("record_sample")["id"], "service": made("record_service")["id"]}
    world.paths |= {"iso_week": "2026-W20", "kind": "csv", "line": _published_line(operator)}
    world.own_paths["publish_due_list", "iso_week"] = "2026-W19"
    _accounts(world, made)
    _machines(world, made)
    _ageing(world, made)
    world.bodies |= _second_bodies(world, operations)
    return world


def _accounts(world: World, made: "_Maker") -> None:
    """What an organisation's owner sets up: subscriptions with something to deliver, feeds, tokens, return visits."""
    for name in ("get_subscription", "rotate_subscription_secret", "end_subscription"):
        target = f"https://127.0.0.1/{MARK}/{name}"
        world.own_paths[name, "subscription"] = made("subscribe", channel="webhook", target=target)["id"]
    made("subscribe", target=f"{MARK}@example.org")
    world.bodies["subscribe"] = {
        "channel": "mail",
        "target": f"{MARK}.2@example.org",
        "events": ["due_list.published"],
    }
    assert world.operator.post("/v1/due-lists/2026-W21/publish").status_code == 200
    world.paths["delivery"] = world.operator.get("/v1/deliveries").json()["deliveries"][0]["id"]
    for name in ("get_calendar_feed", "revoke_calendar_feed"):
        world.own_paths[name, "feed"] = made("make_calendar_feed", name=f"{MARK} {name}")["id"]
    for name in ("rotate_token", "revoke_token"):
        world.own_paths[name, "token"] = made("create_token", name=f"{MARK} {name}")["id"]
    world.paths["visit"] = made("accept_return_visit")["id"]
    world.paths["code"] = world.own_paths["get_calendar", "feed"] = "a-secret-that-nobody-was-given"
    world.paths["property"] = "iron_mg_per_kg"
    for name in ("set_limit", "reset_limit"):
        world.own_paths[name, "kind"] = "engine_oil_diesel_heavy"
    world.bodies["make_depot"] = {"depot": f"{MARK}-South"}


def _machines(world: World, made: "_Maker") -> None:
    """Sources of machine data, one of which has spoken of a machine and is pulled."""
    own = ("pull_machine_source", "rotate_machine_source_secret", "end_machine_source")
    for name in ("take_fleet_document", *own):
        pull = {"url": f"https://127.0.0.1/{MARK}/{name}", "minutes": 60, "authorization": MARK}
        source = made("add_machine_source", name=f"{MARK} {name}"[:40], pull=pull)["id"]
        world.own_paths[name, "machine_source"] = source
    world.paths["machine_source"] = world.own_paths["take_fleet_document", "machine_source"]
    made("take_machine_frames")
    path = f"/v1/machine-sources/{world.paths['machine_source']}/equipment"
    world.paths["equipment"] = world.operator.get(path).json()["equipment"][0]["id"]
    values = world.operator.get(f"{path}/{world.paths['equipment']}/values").json()["values"]
    world.paths["machine_value"] = values[0]["id"]
    world.bodies["change_machine_source"] = {"pull": {"url": f"https://127.0.0.1/{MARK}", "minutes": 90}}
    world.bodies["add_machine_source"] = {"name": f"{MARK} another", "pull": None}


def _ageing(world: World, made: "_Maker") -> None:
    """A year of three vans whose fluid ages faster than assumed, so that a fit is proposed; one that was accepted."""
    operator = world.operator
    for name, km in ((f"{MARK}-1", 15_000), (f"{MARK}-2", 20_000), (f"{MARK}-3", 25_000)):
        operator.post("/v1/vehicles", {"vehicle": name, "class": "van"})
        facts = {"kind": "automatic_transmission_car", "last_service_on": "2025-04-01"}
        facts |= {"compartment": "gearbox", "last_service_odometer_km": 50_000}
        operator.post(f"/v1/vehicles/{name}/compartments", facts)
        rows = [
            {"vehicle": name, "taken_at": f"{year}-04-01T00:00:00Z", "odometer": odometer}
            for year, odometer in ((2025, 50_000), (2026, 50_000 + km))
        ]
        operator.post("/v1/readings", {"readings": rows})
        laboratory = {"antioxidant_left_fraction": 1 - 0.75 * 1.5 * (km / 100_000 + 0.1)}
        told = {
            "vehicle": name,
            "compartment": "gearbox",
            "taken_at": rows[1]["taken_at"],
            "laboratory": laboratory,
        }
        assert operator.post("/v1/samples", told).status_code == 201
    world.paths["pin"] = made("pin_visit", vehicle=f"{MARK}-1")["id"]
    for _ in range(2):
        (proposal,) = operator.get("/v1/ageing-fits/proposal").json()["proposals"]
        group = {name: proposal[name] for name in ("kind", "duty", "class")}
        world.bodies["accept_ageing_fit"] = group | {"multiplier": proposal["multiplier_proposed"]}
        if "fit" not in world.paths:
            world.paths["fit"] = made("accept_ageing_fit")["id"]


def _second_bodies(world: World, operations: dict[str, Operation]) -> dict[str, Any]:
    """Bodies for what exists already by now and cannot be made twice."""
    again = {NAMES["VAN-07"]: f"{MARK}-VAN-2", NAMES["ATF-A"]: f"{MARK}-ATF-2"}
    fresh = {}
    for name in ("register_vehicle", "add_fluid"):
        fresh[name] = renamed(world.body(operations[name], "application/json"), again)
    for name in ("record_service", "record_sample", "make_purchase_order", "record_movement"):
        body = world.body(operations[name], "application/json")
        fresh[name] = {**body, "reference": f"{MARK} second"}
    fresh["record_service"]["done_at"] = "2026-05-02T14:10:00+01:00"
    fresh["record_sample"]["taken_at"] = "2026-05-02T09:10:00+01:00"
    fresh["record_service"].pop("odometer")
    fresh["record_sample"].pop("odometer", None)
    return fresh


@dataclass(slots=True)
class _Maker:
    """Makes things with the document's examples."""

    world: World
    operations: dict[str, Operation]

    def __call__(self, operation_id: str, **changes: Any) -> dict[str, Any]:
        operation = self.operations[operation_id]
        body = {**self.world.body(operation, "application/json"), **changes}
        answer = send(self.world.operator, operation, self.world, body=body)
        assert answer.status_code < 300, f"{operation_id}: {answer.text[:400]}"
        return dict(answer.json())


def _overdue_compartment(operator: Operator) -> None:
    body = {
        "kind": "engine_oil_diesel_heavy",
        "interval_km": 15_000,
        "interval_months": 12,
        "last_service_on": "2024-01-08",
    }
    answer = operator.post(f"/v1/vehicles/{NAMES['VAN-07']}/compartments", body)
    assert answer.status_code == 201, answer.text


def _readings(operator: Operator) -> str:
    """A month of readings, the last one of which cannot be right; gives its id."""
    rows = [
        {
            "vehicle": NAMES["VAN-07"],
            "taken_at": f"2026-04-{day:02d}T08:00:00Z",
            "odometer": 82_000.0 + 70 * day,
        }
        for day in range(1, 29)
    ]
    rows.append({"vehicle": NAMES["VAN-07"], "taken_at": "2026-04-29T08:00:00Z", "odometer": 50_000.0})
    assert operator.post("/v1/readings", {"readings": rows}).status_code == 200
    held = operator.get("/v1/readings?outcome=held").json()["readings"]
    assert held, "a fall of the odometer is held"
    return str(held[0]["id"])


def _published_line(operator: Operator) -> str:
    answer = operator.post("/v1/due-lists/2026-W20/publish")
    assert answer.status_code == 200, answer.text
    return str(answer.json()["lines"][0]["id"])


def send(
    operator: Operator,
    operation: Operation,
    world: World,
    *,
    body: Any = None,
    kind: str = "application/json",
    change: Callable[[str], str] = str,
    headers: dict[str, str] | None = None,
) -> Any:
    """Call an operation on the things of a world; `change` alters every value that goes out."""
    path = operation.path
    for name in operation.names_in("path"):
        path = path.replace("{" + name + "}", change(world.path_value(operation, name)))
    query = {name: _changed(value, change) for name, value in world.query(operation).items()}
    content = None
    all_headers = dict(operator.headers if headers is None else headers)
    if kind in operation.bodies and body is not None:
        sent = _changed(body, change)
        content = sent if isinstance(sent, str) else json.dumps(sent)
        all_headers["Content-Type"] = kind
    return operator.client.request(
        operation.method.upper(), path, params=query, content=content, headers=all_headers
    )


def _changed(value: Any, change: Callable[[str], str]) -> Any:
    if isinstance(value, dict):
        return {key: _changed(inner, change) for key, inner in value.items()}
    if isinstance(value, list):
        return [_changed(inner, change) for inner in value]
    return change(value) if isinstance(value, str) else value
