"""What one organisation may take of a node, and that it waits behind itself. OWASP API4; ASVS 5.0, 5.2.4, 15.2.2."""

import asyncio
from datetime import timedelta

import pytest

from service.api.limiter import Limiter
from service.api.places import MOST_WAITING, FairPlaces, QueueFullError
from service.errors import RateLimitedError
from tests.service_fixtures import START


def rows(n_rows: int, first: int = 0, vehicle: str = "VAN-07") -> dict[str, object]:
    return {
        "readings": [
            {
                "vehicle": vehicle,
                "taken_at": (START - timedelta(days=9, minutes=-number)).isoformat(),
                "odometer": 100.0 + number / 100,
            }
            for number in range(first, first + n_rows)
        ]
    }


def test_an_organisation_s_calls_are_counted_over_all_its_tokens(client, operator, join, clock):
    client.app.state.limiter = Limiter(calls_per_second=1.0)
    secret = operator.post("/v1/tokens", {"name": "second", "scopes": ["read"]}).json()["secret"]
    second = {"Authorization": f"Bearer {secret}"}
    codes = [operator.get("/v1/vehicles", headers=second).status_code for _ in range(9)]
    assert codes == [200] * 9, "ten seconds' worth may come at once"
    refused = operator.get("/v1/vehicles")
    assert refused.status_code == 429
    assert refused.headers["content-type"] == "application/problem+json"
    assert int(refused.headers["Retry-After"]) == 1
    assert join("Another").get("/v1/vehicles").status_code == 200
    clock.advance(timedelta(seconds=1))
    assert operator.get("/v1/vehicles").status_code == 200


def test_an_organisation_s_rows_are_counted_and_nothing_of_a_refused_call_is_stored(client, operator, clock):
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"})
    client.app.state.limiter = Limiter(rows_per_hour=1000.0)
    assert operator.post("/v1/readings", rows(900)).status_code == 200
    refused = operator.post("/v1/readings", rows(200, first=900))
    assert refused.status_code == 429
    assert 300 <= int(refused.headers["Retry-After"]) <= 400
    assert operator.get("/v1/readings?limit=500").headers.get("link")
    clock.advance(timedelta(seconds=int(refused.headers["Retry-After"])))
    assert operator.post("/v1/readings", rows(200, first=900)).status_code == 200


def test_more_than_an_hour_s_rows_are_taken_from_a_full_bucket_and_leave_it_empty():
    limiter = Limiter(rows_per_hour=1000.0)
    limiter.check_rows(1, 5000, START)
    with pytest.raises(RateLimitedError):
        limiter.check_rows(1, 1, START)


def test_a_file_that_uses_the_rows_up_ends_with_a_time_to_wait_and_goes_on_later(client, operator, clock):
    operator.post("/v1/vehicles", {"vehicle": "VAN-07", "class": "van"})
    operator.post("/v1/vehicles", {"vehicle": "VAN-08", "class": "van"})
    client.app.state.limiter = Limiter(rows_per_hour=6000.0)
    lines = ["vehicle,taken_at,odometer"]
    lines += [
        f"VAN-07,{(START - timedelta(days=20, minutes=-number)).isoformat()},{100 + number / 100:.2f}"
        for number in range(7_000)
    ]
    content = "\n".join(lines).encode()
    headers = {"Content-Type": "text/csv"}
    assert operator.post("/v1/readings", rows(1500, vehicle="VAN-08")).status_code == 200
    refused = operator.post("/v1/readings", headers=headers, content=content)
    assert refused.status_code == 429
    clock.advance(timedelta(hours=1))
    client.app.state.limiter = Limiter()
    again = operator.post("/v1/readings", headers=headers, content=content)
    assert again.status_code == 200
    assert again.json()["duplicate"] == 5000, "the rows that were stored are recognised, the rest follows"


def test_whoever_asks_ten_times_as_often_is_served_no_sooner():
    """Ten requests of A wait, then one of B: B is the second to be served."""

    async def run() -> list[str]:
        places, order = FairPlaces(1), []
        await places.take("A")

        async def one(key: str) -> None:
            await places.take(key)
            order.append(key)
            await asyncio.sleep(0)
            places.give_back(key)

        tasks = [asyncio.create_task(one("A")) for _ in range(10)]
        await asyncio.sleep(0)
        tasks.append(asyncio.create_task(one("B")))
        await asyncio.sleep(0)
        places.give_back("A")
        await asyncio.gather(*tasks)
        return order

    order = asyncio.run(run())
    assert order.index("B") <= 1
    assert order.count("A") == 10


def test_one_organisation_leaves_the_last_place_to_the_others():
    async def run() -> bool:
        places = FairPlaces(3)
        await places.take("A")
        await places.take("A")
        third = asyncio.create_task(places.take("A"))
        await asyncio.sleep(0)
        await asyncio.wait_for(places.take("B"), 1)
        return third.done()

    assert asyncio.run(run()) is False


@pytest.mark.parametrize("n_places", [1, 4])
def test_a_full_queue_is_refused_at_once_and_nothing_is_lost_when_waiting_ends(n_places):
    async def run() -> None:
        places = FairPlaces(n_places)
        held = max(1, n_places - 1)
        for _ in range(held):
            await places.take("A")
        waiting = [asyncio.create_task(places.take("A")) for _ in range(MOST_WAITING)]
        await asyncio.sleep(0)
        with pytest.raises(QueueFullError):
            await places.take("A")
        for task in waiting[1:]:
            task.cancel()
        await asyncio.gather(*waiting[1:], return_exceptions=True)
        for _ in range(held):
            places.give_back("A")
        await asyncio.wait_for(waiting[0], 1)
        places.give_back("A")
        for _ in range(held):
            await asyncio.wait_for(places.take("A"), 1)

    asyncio.run(run())
