"""Offsets between a dashboard and a source, and messages that a source has signed."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from standardwebhooks import Webhook

from service.domain.machine_meters import Meter, OffsetOrigin, compare, offset_from, propose_offset
from service.domain.webhook_signatures import check_signature
from service.errors import AuthenticationRequiredError

START = datetime(2026, 5, 1, tzinfo=UTC)
HOUR = timedelta(hours=1)
SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
"""The secret of the example in the Standard Webhooks specification."""


@settings(max_examples=50)
@given(st.floats(-50_000, 50_000), st.floats(0, 1), st.floats(0, 500))
def test_an_offset_is_found_from_readings_between_two_values(
    offset: float, share: float, gained: float
) -> None:
    """On a straight line interpolation is exact, so the offset that was put in comes out."""
    source = [(START, 80_000.0), (START + 2 * HOUR, 80_000.0 + gained)]
    shown = [(START + 2 * HOUR * share, 80_000.0 + share * gained + offset)]
    found = offset_from(compare(shown, source))
    assert found == pytest.approx(offset, abs=1e-6)


def test_one_wrong_reading_does_not_decide_an_offset() -> None:
    source = [(START + n * HOUR, 1_000.0 + n) for n in range(10)]
    shown = [(START + n * HOUR, 1_100.0 + n) for n in range(8)]
    shown[3] = (shown[3][0], 9_000.0)
    assert offset_from(compare(shown, source)) == 100.0


@pytest.mark.parametrize(
    ("origin", "differences", "proposed"),
    [
        (OffsetOrigin.SOLE, [500.0, 500.0], None),
        (OffsetOrigin.SOLE, [500.0, 500.0, 500.0], 500.0),
        (OffsetOrigin.SOLE, [0.2, 0.1, 0.3], 0.2),
        (OffsetOrigin.SOLE, [500.0, 500.0, 900.0], None),
        (OffsetOrigin.SOLE, [9_000.0, 500.0, 520.0, 480.0], 500.0),
        (OffsetOrigin.LEARNED, [60.0, 70.0, 80.0], None),
        (OffsetOrigin.SET, [500.0, 520.0, 480.0], 500.0),
    ],
)
def test_an_offset_is_proposed_where_it_was_never_checked_or_is_far_off(
    origin: OffsetOrigin, differences: list[float], proposed: float | None
) -> None:
    assert propose_offset(Meter.ODOMETER, 0.0, origin, differences) == proposed


def test_far_from_any_value_nothing_is_compared() -> None:
    source = [(START, 1_000.0), (START + timedelta(days=10), 3_000.0)]
    shown = [(START + timedelta(days=5), 2_000.0), (START + timedelta(days=11), 3_200.0)]
    assert compare(shown, source) == []
    assert offset_from([]) is None


def signed(secret: str, now: datetime, body: str = '{"test": 1}') -> tuple[str, str, str, bytes]:
    signature = Webhook(secret).sign("msg_1", now, body)
    return "msg_1", str(int(now.timestamp())), signature, body.encode()


def test_signatures_of_the_scheme_s_own_library_are_taken() -> None:
    check_signature([SECRET], *signed(SECRET, START), START)
    check_signature(["whsec_c2Vjb25k", SECRET], *signed(SECRET, START), START)


def test_the_example_of_the_specification_is_taken() -> None:
    """Standard Webhooks: id msg_p5jXN8AQM9LWM0D4loKWxJek, time 1614265330, body {"test": 2432232314}."""
    now = datetime.fromtimestamp(1614265330, UTC)
    signature = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
    check_signature(
        [SECRET],
        "msg_p5jXN8AQM9LWM0D4loKWxJek",
        "1614265330",
        f"v1,AAAA {signature}",
        b'{"test": 2432232314}',
        now,
    )


@pytest.mark.parametrize("minutes", [-6, 6])
def test_a_signature_is_good_for_five_minutes(minutes: int) -> None:
    with pytest.raises(AuthenticationRequiredError):
        check_signature([SECRET], *signed(SECRET, START), START + timedelta(minutes=minutes))


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (0, "msg_2"),
        (0, ""),
        (0, "a.b"),
        (0, "ü"),
        (1, "x"),
        (1, "1e9"),
        (1, "9" * 13),
        (2, ""),
        (2, "v1,"),
        (2, "v2,K5oZfzN95Z9UVu1EsfQmfVNQhnkZ2pj9o9NDN/H/pI4="),
        (2, "v1,\u00fc"),
        (3, b"{}"),
    ],
)
def test_anything_altered_is_refused(place: int, value: str | bytes) -> None:
    parts: list[Any] = list(signed(SECRET, START))
    parts[place] = value
    message_id, timestamp, signatures, body = parts
    with pytest.raises(AuthenticationRequiredError):
        check_signature([SECRET], message_id, timestamp, signatures, body, START)


def test_without_a_secret_nothing_is_taken() -> None:
    with pytest.raises(AuthenticationRequiredError):
        check_signature([], *signed(SECRET, START), START)
