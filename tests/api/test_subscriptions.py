"""Subscriptions over HTTP: receivers checked, secrets shown once, deliveries visible, calendars to subscribe to."""

import base64
from datetime import UTC, datetime, timedelta

import pytest
from icalendar import Calendar
from sqlmodel import select

from service.jobs.weekly_run import run_weekly
from service.store.tables.operations import IdempotencyKey

MAIL = {"channel": "mail", "target": "workshop@example.org"}
HOOK = {"channel": "webhook", "target": "http://127.0.0.1:8099/hook", "events": ["due_list.published"]}
FRIDAY_MORNING = datetime(2026, 5, 1, 6, 30, tzinfo=UTC)


@pytest.fixture(autouse=True)
def loopback_allowed(monkeypatch):
    monkeypatch.setenv("SUMPWISE_OUTBOUND_ALLOW", "127.0.0.0/8")


def test_a_webhook_s_secret_is_shown_once_in_the_scheme_s_form(operator, database):
    key = {"Idempotency-Key": "k1"}
    made = operator.post("/v1/subscriptions", HOOK, headers=key)
    assert made.status_code == 201, made.text
    secret = made.json()["secret"]
    # Standard Webhooks: "whsec_" and base64 of 24 to 64 random bytes.
    assert 24 <= len(base64.b64decode(secret.removeprefix("whsec_"), validate=True)) <= 64
    again = operator.post("/v1/subscriptions", HOOK, headers=key)
    assert again.json() == made.json() | {"secret": None}
    path = made.headers["location"]
    assert secret not in operator.get("/v1/subscriptions").text + operator.get(path).text
    with database.snapshot() as session:
        assert all(secret.encode() not in row.body for row in session.exec(select(IdempotencyKey)))


def test_receivers_are_checked_when_they_are_registered(operator):
    for target in ("https://10.0.0.1/", "http://127.0.0.1:6379/", "https://[::1]/", "ftp://127.0.0.1/"):
        answer = operator.post("/v1/subscriptions", HOOK | {"target": target})
        assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/target"), target
    for target in ("a@example.org,b@example.org", "a@example.org\r\nBcc: b@example.org", "A <a@example.org>"):
        assert operator.post("/v1/subscriptions", MAIL | {"target": target}).status_code == 422
    assert operator.post("/v1/subscriptions", HOOK | {"events": ["nothing.known"]}).status_code == 422
    assert operator.post("/v1/subscriptions", HOOK | {"events": []}).status_code == 422


def test_nobody_without_the_right_makes_this_service_look_up_a_name(join, client):
    asked = []
    client.app.state.target_rules = type("Rules", (), {"find_route": lambda _self, url: asked.append(url)})()
    reader = join("Reader", scopes=frozenset({"read"}))
    assert reader.post("/v1/subscriptions", HOOK).status_code == 403
    assert client.post("/v1/subscriptions", json=HOOK).status_code == 401
    assert asked == []


def test_a_receiver_has_one_subscription_until_it_ends(operator):
    path = operator.post("/v1/subscriptions", MAIL).headers["location"]
    assert operator.post("/v1/subscriptions", MAIL).status_code == 409
    assert operator.delete(path).status_code == 204
    ended = operator.get(path).json()
    assert (ended["state"], ended["ended_because"]) == ("ended", "ended by its organisation")
    assert operator.post("/v1/subscriptions", MAIL).status_code == 201


def test_a_webhook_s_secret_is_rotated_and_mail_has_none(operator, clock):
    made = operator.post("/v1/subscriptions", HOOK).json()
    until = (clock.now() + timedelta(days=1)).isoformat()
    rotated = operator.post(f"/v1/subscriptions/{made['id']}/rotate", {"old_valid_until": until})
    assert rotated.status_code == 200
    assert rotated.json()["secret"] not in {None, made["secret"]}
    mail = operator.post("/v1/subscriptions", MAIL).json()
    assert mail["secret"] is None
    assert operator.post(f"/v1/subscriptions/{mail['id']}/rotate").status_code == 409


def test_deliveries_show_what_became_of_each_message(operator, database, clock):
    clock.present = FRIDAY_MORNING
    for target in ("a@example.org", "b@example.org"):
        operator.post("/v1/subscriptions", MAIL | {"target": target})
    run_weekly(database, clock.now(), "node")
    page = operator.get("/v1/deliveries?limit=1")
    (latest,) = page.json()["deliveries"]
    assert (latest["state"], latest["tries"], latest["target"]) == ("waiting", 0, "b@example.org")
    second = operator.get(page.links["next"]["url"])
    assert [one["target"] for one in second.json()["deliveries"]] == ["a@example.org"]
    assert "next" not in second.links
    assert operator.get("/v1/deliveries?state=sent").json() == {"deliveries": []}
    assert operator.post(f"/v1/deliveries/{latest['id']}/retry").status_code == 200
    operator.delete(f"/v1/subscriptions/{latest['subscription_id']}")
    given_up = operator.get("/v1/deliveries?state=given_up").json()["deliveries"]
    assert [one["id"] for one in given_up] == [latest["id"]]
    assert operator.post(f"/v1/deliveries/{latest['id']}/retry").status_code == 409


def test_a_list_published_by_hand_is_announced_too(operator, clock):
    clock.present = FRIDAY_MORNING
    operator.post("/v1/subscriptions", MAIL)
    assert operator.post("/v1/due-lists/2026-W19/publish").status_code == 200
    (one,) = operator.get("/v1/deliveries").json()["deliveries"]
    assert one["message_id"].startswith(f"due-list/{operator.organisation_id}/2026-W19/")


def test_another_organisation_s_receivers_do_not_exist(operator, join, database, clock):
    clock.present = FRIDAY_MORNING
    made = operator.post("/v1/subscriptions", MAIL).json()
    feed = operator.post("/v1/calendar-feeds", {"name": "wall"}).json()
    run_weekly(database, clock.now(), "node")
    delivery = operator.get("/v1/deliveries").json()["deliveries"][0]["id"]
    other = join("Another Invented Operator")
    for answer in (
        other.get(f"/v1/subscriptions/{made['id']}"),
        other.delete(f"/v1/subscriptions/{made['id']}"),
        other.post(f"/v1/subscriptions/{made['id']}/rotate"),
        other.post(f"/v1/deliveries/{delivery}/retry"),
        other.get(f"/v1/calendar-feeds/{feed['id']}"),
        other.delete(f"/v1/calendar-feeds/{feed['id']}"),
    ):
        assert answer.status_code == 404
    assert other.get("/v1/subscriptions").json() == {"subscriptions": []}
    assert other.get("/v1/deliveries").json() == {"deliveries": []}
    assert other.get("/v1/calendar-feeds").json() == {"calendar_feeds": []}


def test_one_click_ends_mails_and_looking_at_the_link_does_not(operator, client, database):
    from service.store.tables.subscriptions import Subscription

    made = operator.post("/v1/subscriptions", MAIL).json()
    with database.snapshot() as session:
        code = session.get(Subscription, int(made["id"].removeprefix("sub_"))).unsubscribe_code
    assert code not in operator.get("/v1/subscriptions").text
    # RFC 8058 3.2: the mailbox provider posts this form, without cookies or credentials.
    look = client.get(f"/v1/unsubscribe/{code}")
    assert (look.status_code, "<form" in look.text) == (200, True)
    assert operator.get(f"/v1/subscriptions/{made['id']}").json()["state"] == "active"
    click = client.post(f"/v1/unsubscribe/{code}", data={"List-Unsubscribe": "One-Click"})
    assert click.status_code == 200
    assert operator.get(f"/v1/subscriptions/{made['id']}").json()["state"] == "ended"
    assert client.post("/v1/unsubscribe/made-up").status_code == 404


@pytest.fixture
def visits(operator, database, clock):
    """A published list with two vehicles on it, and a calendar feed."""
    clock.present = FRIDAY_MORNING
    for vehicle in ("TRUCK-1", "TRUCK-2"):
        operator.post("/v1/vehicles", {"vehicle": vehicle, "class": "truck", "depot": "South"})
        coolant = {
            "kind": "coolant_oat",
            "compartment": "coolant",
            "interval_months": 24,
            "last_service_on": "2024-05-06",
            "last_service_odometer_km": 1000,
        }
        assert operator.post(f"/v1/vehicles/{vehicle}/compartments", coolant).status_code == 201
    run_weekly(database, clock.now(), "node")
    operator.feed = operator.post("/v1/calendar-feeds", {"name": "wall screen"}).json()
    return operator


def events_of(operator):
    path = operator.feed["url"].removeprefix("http://127.0.0.1:8000")
    answer = operator.client.get(path)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    events = Calendar.from_ical(answer.content).walk("VEVENT")
    return {str(event["SUMMARY"]).partition(":")[0]: event for event in events}


def line_of(operator, vehicle, week="2026-W19"):
    lines = operator.get(f"/v1/due-lists/{week}").json()["lines"]
    return next(line["id"] for line in lines if line["vehicle"] == vehicle)


def test_a_moved_visit_keeps_its_uid_and_its_sequence_rises(visits):
    """RFC 5545 3.8.4.7 and 3.8.7.4: the UID stays, SEQUENCE grows at each revision of the date."""
    before = events_of(visits)
    move = {"kind": "moved", "moved_to_on": "2026-05-08"}
    assert visits.post(f"/v1/due-list-lines/{line_of(visits, 'TRUCK-1')}/events", move).status_code == 201
    after = events_of(visits)
    assert after["TRUCK-1"]["UID"] == before["TRUCK-1"]["UID"]
    assert after["TRUCK-1"]["SEQUENCE"] > before["TRUCK-1"]["SEQUENCE"]
    assert after["TRUCK-1"].decoded("DTSTART").isoformat() == "2026-05-08"
    assert after["TRUCK-2"] == before["TRUCK-2"]


def test_a_dropped_visit_is_cancelled_and_a_done_one_stays(visits, database, clock):
    before = events_of(visits)
    for vehicle, kind in (("TRUCK-1", "dropped"), ("TRUCK-2", "done")):
        mark = visits.post(f"/v1/due-list-lines/{line_of(visits, vehicle)}/events", {"kind": kind})
        assert mark.status_code == 201
    after = events_of(visits)
    assert (str(after["TRUCK-1"]["STATUS"]), str(after["TRUCK-2"]["STATUS"])) == ("CANCELLED", "CONFIRMED")
    assert after["TRUCK-1"]["SEQUENCE"] > before["TRUCK-1"]["SEQUENCE"]
    assert {name: event["UID"] for name, event in after.items()} == {
        name: event["UID"] for name, event in before.items()
    }


def test_a_visit_that_the_next_list_does_not_name_is_cancelled_by_a_newer_revision(visits, database, clock):
    """RFC 5545 3.8.7.4: nothing was said of the line, so the list that leaves it out has to raise its number."""
    before = events_of(visits)["TRUCK-1"]
    compartments = visits.get("/v1/vehicles/TRUCK-1/compartments").json()["compartments"]
    for one in compartments:
        assert visits.patch(f"/v1/compartments/{one['id']}", {"interval_months": 48}).status_code == 200
    clock.advance(timedelta(days=7))
    assert run_weekly(database, clock.now(), "node") == 1
    after = events_of(visits)["TRUCK-1"]
    assert str(after["STATUS"]) == "CANCELLED"
    assert after["SEQUENCE"] > before["SEQUENCE"]


def test_a_visit_carried_over_stays_the_same_event_and_its_sequence_never_falls(visits, database, clock):
    uids, sequences = set(), []
    for week in range(19, 24):
        event = events_of(visits)["TRUCK-1"]
        uids.add(str(event["UID"]))
        sequences.append(event["SEQUENCE"])
        move = {"kind": "moved", "moved_to_on": f"{clock.now().date() + timedelta(days=week - 18)}"}
        visits.post(f"/v1/due-list-lines/{line_of(visits, 'TRUCK-1', f'2026-W{week}')}/events", move)
        sequences.append(events_of(visits)["TRUCK-1"]["SEQUENCE"])
        clock.advance(timedelta(days=7))
        assert run_weekly(database, clock.now(), "node") == 1
    assert len(uids) == 1
    assert sequences == sorted(sequences)
    assert len(set(sequences)) == len(sequences)


def test_a_feed_s_address_is_a_secret_that_can_be_revoked(visits, client, capsys):
    path = visits.feed["url"].removeprefix("http://127.0.0.1:8000")
    first = client.get(path)
    again = client.get(path, headers={"If-None-Match": first.headers["etag"]})
    assert (first.status_code, again.status_code) == (200, 304)
    secret = path.rpartition("/")[2].removesuffix(".ics")
    assert len(secret) >= 43, "256 bits in base64"
    assert secret not in visits.get("/v1/calendar-feeds").text
    assert visits.delete(f"/v1/calendar-feeds/{visits.feed['id']}").status_code == 204
    assert client.get(path).status_code == 404
    assert secret not in capsys.readouterr().out, "nor in the log"


def test_guessing_addresses_is_slowed_down(client):
    answers = [client.get(f"/v1/calendar/guess-{place}.ics").status_code for place in range(20)]
    assert answers[:15] == [404] * 15
    assert answers[-1] == 429
