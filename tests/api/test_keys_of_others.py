"""A key is its sender's: whoever has other rights is not given the answer, and another address is another call."""

from starlette.requests import Request

from service.api.units_of_work import operation_of
from service.domain.roles import Scope
from tests.service_fixtures import Operator

KEY = {"Idempotency-Key": "order-1"}
VAN = {"vehicle": "VAN-1", "class": "van"}


def with_token(operator, **facts):
    made = operator.post("/v1/tokens", {"name": "other", **facts})
    assert made.status_code == 201, made.text
    return Operator(operator.organisation_id, made.json()["secret"], operator.client)


def test_who_may_not_do_it_is_not_told_what_came_of_it(operator):
    """[OWASP ASVS 8.2.1] A right to the work, not the knowledge of a key, opens its answer."""
    assert operator.post("/v1/vehicles", VAN, headers=KEY).status_code == 201
    reader = with_token(operator, scopes=["read"])
    for path, body in (("/v1/vehicles", VAN), ("/v1/vehicles", VAN | {"duty": "severe"})):
        refused = reader.post(path, body, headers=KEY)
        assert refused.status_code == 422, refused.text
        assert "VAN-1" not in refused.text
    assert reader.post("/v1/vehicles", VAN).status_code == 403


def test_the_same_rights_get_the_same_answer_by_whichever_token(operator):
    """A sender whose token was replaced in between may try again."""
    first = operator.post("/v1/vehicles", VAN, headers=KEY)
    other = with_token(operator, scopes=sorted(Scope))
    again = other.post("/v1/vehicles", VAN, headers=KEY)
    assert (again.status_code, again.content) == (201, first.content)
    assert again.headers["idempotency-replayed"] == "true"


def test_a_file_is_no_way_around_it(operator):
    operator.post("/v1/vehicles", VAN)
    file = b"vehicle,taken_at,odometer\nVAN-1,2026-05-01T07:30:00+01:00,84210\n"
    options = {"content": file, "headers": KEY | {"Content-Type": "text/csv"}}
    assert operator.post("/v1/readings", **options).status_code == 200
    other = with_token(operator, scopes=["readings"])
    assert other.post("/v1/readings", **options).status_code == 422
    assert operator.post("/v1/readings", **options).headers["idempotency-replayed"] == "true"


def test_addresses_that_differ_in_their_last_digit_are_two_operations():
    path = "/v1/machine-sources/src_1234567890/equipment/eqp_1234567890/values/mva_123456789"
    scope = {"type": "http", "method": "PATCH", "server": ("host", 80), "scheme": "http", "headers": []}
    told = {operation_of(Request(scope | {"path": f"{path}{digit}", "query_string": b""})) for digit in "12"}
    assert len(told) == 2
    assert all(len(one) <= 80 for one in told)
