"""Every list has the same rule for its cursor: one that a list of its kind gave, as it was given, or none."""

import pytest

from service.api.answers import encode_cursor
from tests.security.world import found_world

PLACES = ("after", "before")
NONE_OF_OURS = (
    "",
    "null",
    "e30",
    "W10",
    "AAAA",
    "a b",
    "eyJhZnRlciI6MX0=",
    *(encode_cursor({"after": value}) for value in ("1", True, None, 1.5, -1, 2**63, [1])),
    *(encode_cursor({"before": value}) for value in ("1", True, None, 1.5, -1, 2**63, [1])),
    encode_cursor({"after": 1, "before": 1}),
    encode_cursor({"elsewhere": 1}),
)


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_a_cursor_that_no_list_gave_is_refused_by_every_list(operator, operations):
    world = found_world(operator, operations)
    wrong, n_lists = [], 0
    for name, operation in operations.items():
        if "cursor" not in operation.names_in("query"):
            continue
        n_lists += 1
        path = operation.path
        for part in operation.names_in("path"):
            path = path.replace("{" + part + "}", world.path_value(operation, part))
        for cursor in NONE_OF_OURS:
            answer = operator.get(path, params={"cursor": cursor})
            pointers = [one["pointer"] for one in answer.json().get("errors", ())]
            if (answer.status_code, pointers) != (422, ["query/cursor"]):
                wrong.append(f"{name} {cursor!r}: {answer.status_code} {pointers}")
        taken = [operator.get(path, params={"cursor": encode_cursor({place: 1})}) for place in PLACES]
        if sorted(answer.status_code for answer in taken) != [200, 422]:
            wrong.append(f"{name}: {[answer.status_code for answer in taken]}")
    assert wrong == []
    assert n_lists >= 10
