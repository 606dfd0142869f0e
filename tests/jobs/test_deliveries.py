"""What is published reaches its receivers: signed, under one id until it is taken, and nobody waits for another."""

import json
import threading
import time
from datetime import timedelta

import pytest
from standardwebhooks import Webhook, WebhookVerificationError

from service.domain.retries import GIVE_UP_AFTER, JITTER_FRACTION
from service.jobs.counterparts import Counterpart, Counterparts
from service.jobs.deliveries import RECEIVERS
from service.store.repositories import outbox, subscriptions
from service.store.tables.operations import OutboxMessage
from service.usecases.deliveries import deliver, subscribe
from service.usecases.week.announce_list import MAX_FLUIDS
from tests.clients.sinks import Sink, flood, hang, listening, statuses
from tests.jobs.conftest import Node

DAY = timedelta(days=1)


def ids(sink):
    return [call.headers["webhook-id"] for call in sink.calls]


def test_a_published_list_reaches_its_receiver_once_and_signed(workshop, node):
    with listening(Sink()) as sink:
        row = workshop.subscribe(sink.url)
        assert node.publish() == 1
        for _ in range(3):
            node.publish()
            node.send()
    assert len(sink.calls) == 1
    message = Webhook(row.secret).verify(sink.calls[0].body, sink.calls[0].headers)
    assert (message["type"], message["data"]["iso_week"]) == ("due_list.published", "2026-W19")
    assert message["data"]["links"]["data"] == "https://fleet.example.org/v1/due-lists/2026-W19"
    (sent,) = workshop.messages()
    assert (sent.state, sent.n_tries, sent.last_error) == ("sent", 1, None)
    assert ids(sink) == [f"due-list/{row.organisation_id}/2026-W19/{row.id}"]


def test_a_failed_try_is_made_again_under_the_same_id_with_its_own_time(workshop, database, clock):
    node = Node(database, clock, stamp=clock)
    with listening(Sink(answer=statuses(500, 302, 200))) as sink:
        workshop.subscribe(sink.url)
        node.publish()
        node.send()
        assert workshop.messages()[0].last_error == "The receiver answered 500."
        node.send()
        assert len(sink.calls) == 1, "not before its time"
        for _ in range(2):
            clock.advance(timedelta(minutes=5))
            node.send()
    assert len(set(ids(sink))) == 1
    assert len({call.headers["webhook-timestamp"] for call in sink.calls}) == 3
    assert len({call.body for call in sink.calls}) == 1
    assert [(row.state, row.n_tries) for row in workshop.messages()] == [("sent", 3)]


def test_a_receiver_that_is_down_for_a_day_misses_nothing(workshop, node, clock):
    with listening(Sink()) as sink:
        workshop.subscribe(sink.url)
        sink.answer = statuses(503)
        node.publish()
        for _ in range(24):
            node.send()
            clock.advance(timedelta(hours=1))
        sink.answer = statuses(200)
        clock.advance(DAY)
        node.send()
    assert workshop.messages()[0].state == "sent"
    assert 9 <= len(sink.calls) <= 14, "waits double from half a minute"


def test_waits_grow_with_some_spread_over_at_least_three_days_and_then_end(workshop, node, clock):
    waits, began = [], clock.now()
    with listening(Sink(answer=statuses(500))) as sink:
        workshop.subscribe(sink.url)
        node.publish()
        while True:
            node.send()
            (row,) = workshop.messages()
            if row.state == "given_up":
                break
            waits.append((row.next_try_at - clock.now()).total_seconds())
            clock.present = row.next_try_at
    assert timedelta(days=3) <= GIVE_UP_AFTER <= clock.now() - began < GIVE_UP_AFTER + DAY
    expected = [min(30.0 * 2**place, 43200.0) for place in range(len(waits))]
    ratios = [wait / ideal for wait, ideal in zip(waits, expected, strict=True)]
    assert all(abs(ratio - 1.0) <= JITTER_FRACTION + 1e-9 for ratio in ratios)
    assert len({round(ratio, 6) for ratio in ratios}) > len(ratios) // 2, "not all alike"
    with workshop.database.transaction() as session:
        reference = f"dlv_{workshop.messages()[0].id}"
        subscribe.retry_delivery(session, workshop.caller, clock.now(), reference)
    with listening(Sink()) as _other:
        node.send()
    assert workshop.messages()[0].n_tries == len(waits) + 2, "somebody asked, so it was tried once more"


def test_an_outage_of_ours_does_not_use_up_the_receiver_s_time(workshop, node, clock):
    """Two weeks away, one failure after it: the receiver has hardly been tried, so nothing is given up."""
    with listening(Sink(answer=statuses(500, 500, 200))) as sink:
        workshop.subscribe(sink.url)
        node.publish()
        node.send()
        for _ in range(2):
            clock.advance(15 * DAY)
            node.send()
    assert [(row.state, row.n_tries) for row in workshop.messages()] == [("sent", 3)]


def test_410_ends_the_subscription(workshop, node, clock):
    with listening(Sink(answer=statuses(410))) as sink:
        row = workshop.subscribe(sink.url)
        node.publish()
        node.send()
        clock.advance(7 * DAY)
        assert node.publish() == 1
        node.send()
    assert len(sink.calls) == 1
    assert [one.state for one in workshop.messages()] == ["given_up"]
    with workshop.database.snapshot() as session:
        ended = subscriptions.find_subscription(session, row.organisation_id, row.id)
    assert ended.ended_at is not None
    assert "410" in ended.ended_because


def called_within(sink, seconds):
    began = time.monotonic()
    while not sink.calls and time.monotonic() - began < seconds:
        time.sleep(0.01)
    return len(sink.calls) == 1


def test_receivers_that_hang_hold_up_no_other_organisation(found, database, clock):
    """Twelve of one organisation and one of each of nine others hang; another one's message goes while they do."""
    many, single = found("Slow Invented Ltd"), [found(f"Slow {place}") for place in range(9)]
    quick = found("Quick Invented Ltd")
    node = Node(database, clock, timeout_seconds=15.0)
    with listening(Sink(answer=hang)) as hanging, listening(Sink()) as sink:
        for place, slow in enumerate([many] * 12 + single):
            slow.subscribe(f"{hanging.url}/{place}")
        quick.subscribe(sink.url)
        node.publish()
        node.deliveries.start_due()
        assert called_within(sink, 5.0), "while the others are waited for fifteen seconds"
        assert [row.state for row in many.messages()].count("sending") == RECEIVERS.organisation
        assert [row.state for slow in single for row in slow.messages()] == ["sending"] * 9
        hanging.is_released.set()
        node.send()
    assert {row.state for slow in (many, *single) for row in slow.messages()} == {"waiting"}


def test_who_hung_last_time_comes_last_and_leaves_room_to_his_own_organisation_too(found, database, clock):
    slow = found()
    node = Node(database, clock, timeout_seconds=1.5 * RECEIVERS.moment_seconds)
    with listening(Sink(answer=hang)) as hanging, listening(Sink()) as sink:
        for place in range(RECEIVERS.organisation):
            slow.subscribe(f"{hanging.url}/{place}")
        node.publish()
        node.send()
        node = Node(database, clock, timeout_seconds=15.0, receivers=node.deliveries.counterparts)
        clock.advance(timedelta(hours=1))
        node.deliveries.start_due()
        slow.subscribe(sink.url)
        clock.advance(7 * DAY)
        node.publish()
        node.deliveries.start_due()
        assert called_within(sink, 5.0)
        hanging.is_released.set()
        node.send()


def test_few_threads_work_and_who_waits_for_an_answer_lets_another_one_in():
    receivers, has_begun, may_end = Counterparts(RECEIVERS), threading.Semaphore(0), threading.Event()

    def work(is_sending):
        receivers.begin()
        has_begun.release()
        if is_sending:
            with receivers.waiting_for(Counterpart(id=1, organisation_id=1)):
                may_end.wait()
        may_end.wait()
        receivers.end()

    threads = [threading.Thread(target=work, args=(place == 0,)) for place in range(RECEIVERS.at_work + 2)]
    began = time.monotonic()
    for thread in threads:
        thread.start()
    for _ in range(RECEIVERS.at_work + 1):
        assert has_begun.acquire(timeout=5.0), "the one who sends makes room"
    assert time.monotonic() - began >= RECEIVERS.moment_seconds
    assert not has_begun.acquire(timeout=2 * RECEIVERS.moment_seconds), "for one only"
    may_end.set()
    for thread in threads:
        thread.join()


def test_one_receiver_is_called_by_one_thread_at_a_time(workshop, node, clock):
    present, most = [], []

    def watch(sink, handler):
        present.append(1)
        most.append(len(present))
        time.sleep(0.05)
        present.pop()
        statuses(200)(sink, handler)

    with listening(Sink(answer=watch)) as sink:
        workshop.subscribe(sink.url)
        for _ in range(4):
            assert node.publish() == 1
            clock.advance(7 * DAY)
        node.send()
    assert (len(sink.calls), max(most)) == (4, 1)


def test_a_gigabyte_for_an_answer_counts_as_taken(workshop, node):
    with listening(Sink(answer=flood)) as sink:
        workshop.subscribe(sink.url)
        node.publish()
        node.send()
    assert workshop.messages()[0].state == "sent"


def test_two_nodes_send_each_message_once(workshop, database, clock):
    with listening(Sink()) as sink:
        for place in range(12):
            workshop.subscribe(f"{sink.url}/{place}")
        nodes = [Node(database, clock), Node(database, clock)]
        nodes[0].publish()
        threads = [threading.Thread(target=node.send) for node in nodes]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert len(sink.calls) == len(set(ids(sink))) == 12


def test_killed_before_the_publishing_commit_nothing_is_announced(workshop, node, monkeypatch):
    from service.usecases.week import publish_due_list

    with listening(Sink()) as sink:
        workshop.subscribe(sink.url)
        announce = publish_due_list.announce_list

        def die_after(*arguments):
            announce(*arguments)
            raise KeyboardInterrupt

        monkeypatch.setattr(publish_due_list, "announce_list", die_after)
        with pytest.raises(KeyboardInterrupt):
            node.publish()
        assert workshop.messages() == []
        monkeypatch.undo()
        assert node.publish() == 1
        node.send()
    assert len(sink.calls) == 1


def test_killed_between_commit_and_sending_another_node_sends(workshop, node, database, clock):
    with listening(Sink()) as sink:
        workshop.subscribe(sink.url)
        node.publish()
        Node(database, clock).send()
    assert len(sink.calls) == 1


def test_killed_with_a_message_in_hand_it_is_taken_over_after_the_lease(workshop, node, database, clock):
    with listening(Sink()) as sink:
        workshop.subscribe(sink.url)
        node.publish()
        with database.transaction() as session:
            assert outbox.claim_due(session, clock.now(), node.deliveries.lease) is not None
        node.send()
        assert (sink.calls, workshop.messages()[0].state) == ([], "sending")
        clock.advance(node.deliveries.lease)
        node.send()
    assert (len(sink.calls), workshop.messages()[0].state) == (1, "sent")


def test_killed_between_sending_and_writing_it_down_the_second_copy_has_the_same_id(
    workshop, node, database, clock, monkeypatch
):
    with listening(Sink()) as sink:
        workshop.subscribe(sink.url)
        node.publish()

        def die(*_arguments):
            raise RuntimeError("killed")

        monkeypatch.setattr(deliver, "settle_sent", die)
        node.send()
        monkeypatch.undo()
        assert workshop.messages()[0].state == "sending"
        clock.advance(node.deliveries.lease)
        Node(database, clock).send()
    assert (len(sink.calls), len(set(ids(sink)))) == (2, 1)
    assert workshop.messages()[0].state == "sent"


def test_a_late_failure_of_a_node_that_lost_its_lease_changes_nothing(workshop, node, database, clock):
    with listening(Sink()) as sink:
        workshop.subscribe(sink.url)
        node.publish()
        with database.transaction() as session:
            stale = outbox.claim_due(session, clock.now(), node.deliveries.lease)
        clock.advance(node.deliveries.lease)
        node.send()
    with database.transaction() as session:
        deliver.settle_failed(session, stale, OSError(), clock.now(), node.deliveries.rng)
    assert (workshop.messages()[0].state, len(sink.calls)) == ("sent", 1)


def test_an_ended_subscription_gets_nothing_more(workshop, node, clock):
    with listening(Sink()) as sink:
        row = workshop.subscribe(sink.url)
        node.publish()
        with workshop.database.transaction() as session:
            subscribe.end_subscription(session, workshop.caller, clock.now(), f"sub_{row.id}")
        node.send()
        clock.advance(7 * DAY)
        node.publish()
        node.send()
    assert sink.calls == []
    assert [one.state for one in workshop.messages()] == ["given_up"]


def test_while_a_secret_is_rotated_both_verify_and_afterwards_the_new_one_only(workshop, node, clock):
    with listening(Sink()) as sink:
        row = workshop.subscribe(sink.url)
        until = clock.now() + DAY
        with workshop.database.transaction() as session:
            new = subscribe.rotate_secret(session, workshop.caller, clock.now(), f"sub_{row.id}", until)
        node.publish()
        node.send()
        clock.advance(7 * DAY)
        node.publish()
        node.send()
    during, after = sink.calls
    for secret in (row.secret, new.secret):
        Webhook(secret).verify(during.body, during.headers)
    Webhook(new.secret).verify(after.body, after.headers)
    with pytest.raises(WebhookVerificationError):
        Webhook(row.secret).verify(after.body, after.headers)


def test_a_signature_is_refused_after_more_than_five_minutes(workshop, node):
    """Standard Webhooks: the tolerance of the reference libraries."""
    with listening(Sink()) as sink:
        row = workshop.subscribe(sink.url)
        node.publish()
        node.send()
    (call,) = sink.calls
    replayed = call.headers | {"webhook-timestamp": str(int(call.headers["webhook-timestamp"]) - 360)}
    with pytest.raises(WebhookVerificationError, match="old"):
        Webhook(row.secret).verify(call.body, replayed)


def test_the_largest_message_stays_below_20_kb(workshop, node):
    """Standard Webhooks recommends bodies below 20 kB."""
    name = "\U0001f6e2" * 40
    payload = {
        "iso_week": "2026-W19",
        "published_at": "2026-05-01T06:00:00+00:00",
        "litres_by_fluid": {f"{name}{place}": 123456.78 for place in range(MAX_FLUIDS)},
    }
    message = OutboxMessage(event="due_list.published", payload=payload)
    assert len(deliver.webhook_body(message, "https://" + "f" * 200).encode()) < 20_000
    assert json.loads(deliver.webhook_body(message, ""))["data"]["iso_week"] == "2026-W19"
