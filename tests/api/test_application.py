"""An application as a whole."""

import gc
import weakref

from fastapi.testclient import TestClient

from service.main import build_app
from service.settings import Settings


def test_an_application_that_nobody_uses_any_more_is_forgotten(database, clock):
    """Nothing that lives as long as the process holds on to it, or tests and embedding programs grow without end."""
    app = build_app(Settings(environment="test", scheduler=False), database, clock)
    with TestClient(app) as client:
        assert client.get("/docs").status_code == 200
        assert client.get("/v1/vehicles").status_code == 401
        assert client.get("/openapi.json").status_code == 200
    noted = weakref.ref(app)
    del app, client
    gc.collect()
    assert noted() is None


def test_what_is_wrong_with_a_field_is_told_in_words_of_our_own(operator):
    body = {"vehicle": "VAN-07", "colour": "red", "in_service_on": "2025-02-30"}
    told = {one["pointer"]: one["detail"] for one in operator.post("/v1/vehicles", body).json()["errors"]}
    assert told["/colour"] == "There is no such field here; check its name."
    assert told["/class"] == "Must be given."
    assert told["/in_service_on"] == "is no date of the calendar"


def test_a_key_that_comes_with_another_query_is_refused(operator):
    """The same body asks for something else then."""
    key = {"Idempotency-Key": "k1"}
    vehicle = {"vehicle": "VAN-07", "class": "van"}
    assert operator.post("/v1/vehicles", vehicle, headers=key).status_code == 201
    assert operator.post("/v1/vehicles", vehicle, headers=key).headers["Idempotency-Replayed"] == "true"
    refused = operator.post("/v1/vehicles?depot=North", vehicle, headers=key)
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["pointer"] == "header/Idempotency-Key"
