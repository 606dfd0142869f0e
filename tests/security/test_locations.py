"""What is made can be looked at where the answer says it is (RFC 9110, 15.3.2)."""

from urllib.parse import urlsplit

import pytest

from tests.security.world import found_world, send


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_every_location_answers(operator, operations):
    world = found_world(operator, operations)
    lost, n_made = [], 0
    for operation in operations.values():
        if operation.method != "post" or "application/json" not in operation.bodies:
            continue
        answer = send(operator, operation, world, body=world.body(operation, "application/json"))
        if answer.status_code != 201:
            continue
        n_made += 1
        # Without a Location what was made is to be found at the address that it was sent to.
        location = answer.headers.get("location", answer.request.url.path)
        assert not urlsplit(location).netloc
        found = operator.get(location)
        if found.status_code != 200:
            lost.append(f"{operation.operation_id}: {location} {found.status_code}")
    assert lost == []
    assert n_made >= 10
