"""A change answers with the tag by which the next one can be made to depend on it (RFC 9110, 8.8.3 and 13.1.1)."""

import pytest

from tests.security.world import found_world, send


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_a_change_answers_with_the_tag_that_a_read_would_give(operator, operations):
    world = found_world(operator, operations)
    reads = {one.path: one for one in operations.values() if one.method == "get"}
    wrong, n_changes = [], 0
    for name, change in operations.items():
        read = reads.get(change.path)
        if change.method != "patch" or read is None:
            continue
        answer = send(operator, change, world, body=world.body(change, "application/json"))
        tag = answer.headers.get("etag")
        if answer.status_code != 200 or tag is None:
            wrong.append(f"{name}: {answer.status_code} {tag}")
            continue
        n_changes += 1
        again = send(operator, change, world, body={}, headers=dict(operator.headers) | {"If-Match": tag})
        if again.status_code == 412:
            wrong.append(f"{name}: its own tag is stale")
    assert wrong == []
    assert n_changes >= 6
