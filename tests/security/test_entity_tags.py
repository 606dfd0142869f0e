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


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_nothing_is_deleted_that_changed_since_it_was_read(operator, operations):
    """RFC 9110, 13.1.1: a method must not be performed if the condition of If-Match is false."""
    world = found_world(operator, operations)
    deletes = {one.path: one for one in operations.values() if one.method == "delete"}
    wrong, n_deletes = [], 0
    for name, read in operations.items():
        delete = deletes.get(read.path)
        if read.method != "get" or delete is None:
            continue
        refused = send(operator, delete, world, headers={**operator.headers, "If-Match": '"stale"'})
        tag = operator.get(refused.request.url.path).headers["etag"]
        done = send(operator, delete, world, headers={**operator.headers, "If-Match": tag})
        n_deletes += 1
        if (refused.status_code, done.status_code) != (412, 204):
            wrong.append(f"{name}: {refused.status_code} {done.status_code}")
    assert wrong == []
    assert n_deletes >= 6


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_a_read_is_not_sent_again_to_whom_has_it_and_the_document_says_so(operator, operations, document):
    """RFC 9110, 13.1.2 and 15.4.5."""
    world = found_world(operator, operations)
    wrong, n_reads = [], 0
    for name, read in operations.items():
        if read.method != "get" or not read.is_secured:
            continue
        answer = send(operator, read, world)
        tag = answer.headers.get("etag")
        headers = dict(operator.headers) | {"If-None-Match": tag or "none"}
        status = send(operator, read, world, headers=headers).status_code
        n_reads += answer.status_code == 200
        is_told = "304" in document["paths"][read.path]["get"]["responses"]
        if answer.status_code == 200 and (status == 304) is not is_told:
            wrong.append(f"{name}: {tag} {status} {is_told}")
    assert wrong == []
    assert n_reads > 40
