"""Which readings are believed, when, and why. Numbers are invented; what must happen to them is the trade's."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.engine.screening import clean, reasons
from service.engine.screening.outcomes import Outcome, Reason, Verdict
from service.engine.screening.screen import Entries, Screening, screen_readings
from service.errors import InvalidInputError
from tests.fleets import PROCESSES, key_in, simulate_fleet

MONTHLY = np.arange(10) * 30.0
STEADY = 50_000.0 + 1300.0 * np.arange(10)
A, H, C = Outcome.ACCEPTED, Outcome.HELD, Outcome.CONVICTED


def entries(time, keyed, offsets=None, **changes):
    time, keyed = np.asarray(time, dtype=float), np.asarray(keyed, dtype=float)
    offsets = np.array([0, time.size]) if offsets is None else offsets
    plain = Entries.plain(time, keyed, offsets, np.full(offsets.size - 1, 45.0))
    values = {name: getattr(plain, name) for name in Entries.__dataclass_fields__}
    return Entries(**{**values, **changes})


def screen(time, keyed, **changes):
    return screen_readings(entries(time, keyed, **changes))


def with_one_wrong(place, value):
    keyed = STEADY.copy()
    keyed[place] = value
    return screen(MONTHLY, keyed)


@pytest.mark.parametrize(
    ("place", "value", "reason"),
    [
        (4, 5_520.0, Reason.DIGIT_LOST),
        (4, 552_000.0, Reason.DIGIT_ADDED),
        (4, 1_111.0, Reason.ROLLBACK),
        (4, 1.0, Reason.ROLLBACK),
        (4, 55_200.0 / 1.609344, Reason.MILES_FOR_KILOMETRES),
        (4, 55_200.0 * 1.609344, Reason.KILOMETRES_FOR_MILES),
        (4, 250_000.0, Reason.IMPLAUSIBLE_PACE),
    ],
)
def test_a_single_wrong_reading_is_held_on_arrival_and_convicted_by_those_after_it(place, value, reason):
    result = with_one_wrong(place, value)
    assert result.outcome_on_arrival[place] == H
    assert result.outcome[place] == C
    assert result.reason[place] == reason
    others = np.delete(np.arange(10), place)
    assert np.all(result.outcome[others] == A)
    assert np.all(result.outcome_on_arrival[others] == A)
    np.testing.assert_array_equal(result.odometer_km[others], STEADY[others])


def test_what_a_wrong_reading_should_have_been_is_suggested_where_one_number_suggests_itself():
    assert with_one_wrong(4, 552_000.0).suggested_km[4] == 55_200.0
    assert with_one_wrong(4, 55_200.0 / 1.609344).suggested_km[4] == pytest.approx(55_200.0)
    assert np.isnan(with_one_wrong(4, 1.0).suggested_km[4])


@pytest.mark.parametrize("junk", [1.0, 1_111.0, 5_000.0, 500_000.0, 123_456.0])
def test_a_wrong_first_reading_is_found_out_by_the_second_and_third(junk):
    result = with_one_wrong(0, junk)
    assert result.outcome_on_arrival[0] == A  # nothing speaks against it yet
    assert result.outcome[0] == C
    assert np.all(result.outcome[1:] == A)
    assert np.all(result.outcome_on_arrival[3:] == A)


def test_a_wrong_last_reading_is_held_and_a_consistent_next_one_revives_it():
    keyed = np.append(STEADY[:9], 250_000.0)
    assert screen(MONTHLY, keyed).outcome[9] == H
    longer = np.append(keyed, 250_000.0 + 1300.0 * np.arange(1, 5))
    revived = screen(np.arange(14) * 30.0, longer)
    assert revived.outcome_on_arrival[9] == H
    assert np.all(revived.outcome[9:] == A)
    assert revived.reason[9] == Reason.INSTRUMENT_REPLACED


def test_rounding_down_by_a_few_kilometres_is_accepted():
    for drop in (1.0, 3.0):
        keyed = np.array([50_000.0, 51_300.0, 51_300.0 - drop, 52_600.0])
        result = screen([0.0, 30.0, 30.1, 60.0], keyed)
        assert np.all(result.outcome == A)


def test_a_unit_change_from_one_reading_on_is_recognised_and_converted():
    keyed = STEADY.copy()
    keyed[5:] /= 1.609344
    result = screen(MONTHLY, keyed)
    assert result.outcome_on_arrival[5] == H
    assert np.all(result.outcome == A)
    assert result.reason[5] == Reason.MILES_FOR_KILOMETRES
    np.testing.assert_allclose(result.odometer_km, STEADY)


def test_a_replaced_instrument_continues_the_old_one_once_three_readings_follow_it():
    keyed = STEADY.copy()
    keyed[5:] -= keyed[5] - 7.0
    result = screen(MONTHLY, keyed)
    assert list(result.outcome_on_arrival[5:]) == [H, H, H, A, A]
    assert np.all(result.outcome == A)
    assert result.reason[5] == Reason.INSTRUMENT_REPLACED
    assert np.all(np.diff(result.odometer_km[5:]) == pytest.approx(1300.0))
    assert result.odometer_km[5] == pytest.approx(STEADY[5], abs=150.0)


@pytest.mark.parametrize(
    ("value", "reason", "suggested"),
    [
        (610.0, Reason.DIGIT_LOST, 6_100.0),
        (61_100.0, Reason.DIGIT_ADDED, 6_110.0),
        (1_111.0, Reason.ROLLBACK, None),
        (250_000.0, Reason.IMPLAUSIBLE_PACE, None),
    ],
)
def test_a_wrong_number_is_told_by_what_the_present_instrument_would_show(value, reason, suggested):
    keyed = np.concatenate((STEADY, 10.0 + 1300.0 * np.arange(8)))
    time = np.arange(keyed.size) * 30.0
    told = np.zeros(keyed.size, dtype=np.int8)
    told[10] = Verdict.RENEWED
    keyed[15] = value
    result = screen(time, keyed, verdict=told)
    assert (result.outcome[15], result.reason[15]) == (H, reason)
    assert suggested is None or result.suggested_km[15] == pytest.approx(suggested, abs=600.0)


@pytest.mark.parametrize("number", [1.0, 1_111.0, 4_440.0])
def test_one_wrong_number_keyed_time_and_again_is_no_new_instrument(number):
    """Who has no number at hand keys what he keyed the last time."""
    keyed = STEADY.copy()
    keyed[4:9] = number
    result = screen(MONTHLY, keyed)
    assert np.all(result.outcome_on_arrival[4:9] == H)
    assert result.outcome[9] == A
    assert result.odometer_km[9] == STEADY[9]


def test_a_number_ahead_that_is_keyed_twice_gives_way_to_two_that_agree_with_the_rest():
    keyed = np.append(STEADY, STEADY[9] + 1300.0 * np.arange(1, 3))
    keyed[[6, 7]] = 63_000.0
    result = screen(np.arange(12) * 30.0, keyed)
    assert np.all(result.outcome[[6, 7]] != A)
    assert np.all(result.outcome[8:] == A)


def test_a_vehicle_that_stands_still_behind_a_new_instrument_is_believed_where_somebody_said_so():
    keyed = np.append(STEADY[:6], [12.0, 12.0, 12.0, 900.0])
    told = np.zeros(10, dtype=np.int8)
    told[6] = Verdict.RENEWED
    assert np.all(screen(MONTHLY, keyed, verdict=told).outcome_on_arrival == A)


def test_another_vehicles_numbers_need_one_reading_more_than_a_new_instruments():
    """A new instrument begins near nothing; one that begins anywhere else is rather the neighbour's fuel card."""
    for first, held in ((7.0, 3), (180_000.0, 4)):
        keyed = STEADY.copy()
        keyed[5:] += first - keyed[5]
        result = screen(MONTHLY, keyed)
        assert list(result.outcome_on_arrival[5:]) == [H] * held + [A] * (5 - held)
        assert np.all(result.outcome == A)


@pytest.mark.parametrize("order", [(4, 5), (5, 4)])
def test_of_two_entries_of_one_day_the_likelier_is_believed_whichever_came_first(order):
    """59,500 km would be 143 km a day after months at 43; 56,500 is what 43 a day make."""
    pair = {4: 59_500.0, 5: 56_500.0}
    keyed = np.append(STEADY[:5], [pair[place] for place in order])
    result = screen(np.append(MONTHLY[:5], [150.0, 150.0]), keyed)
    believed = result.outcome[5:] == A
    assert list(believed) == [pair[place] == 56_500.0 for place in order]
    assert np.all(result.outcome[:5] == A)


def test_a_rollover_is_a_new_instrument():
    keyed = np.mod(96_000.0 + 1300.0 * np.arange(10), 100_000.0)
    result = screen(MONTHLY, keyed)
    assert np.all(result.outcome == A)
    assert np.all(np.diff(result.odometer_km) > 1000.0)


def test_numbers_of_another_vehicle_in_between_are_left_out():
    keyed = STEADY.copy()
    keyed[[3, 5, 7]] = [152_000.0, 154_500.0, 157_000.0]
    result = screen(MONTHLY, keyed, fleet_km=np.array([20_000.0, 157_100.0]))
    assert np.all(result.outcome[[3, 5]] == C)
    assert result.outcome[7] != A
    assert np.all(np.delete(result.outcome, [3, 5, 7]) == A)
    assert result.reason[7] == Reason.OTHER_VEHICLE


def test_a_parked_vehicle_is_accepted_and_marked():
    keyed = np.minimum(STEADY, STEADY[4])
    result = screen(MONTHLY, keyed)
    assert np.all(result.outcome == A)
    assert np.all(result.reason[5:] == Reason.PARKED)
    assert np.all(result.reason[1:5] == Reason.NONE)


def test_duplicates_future_readings_and_non_numbers_touch_nothing_else():
    time = np.array([0.0, 30.0, 30.0, 60.0, 60.0, 60.0, 60.0, 90.0])
    keyed = np.array([50_000.0, 51_300.0, 51_300.0, np.nan, -5.0, 1e12, 52_600.0, 53_900.0])
    received = np.array([0.0, 30.0, 31.0, 60.0, 60.0, 60.0, 60.0, 60.0])
    result = screen(time, keyed, received_days=received)
    D, R = Outcome.DUPLICATE, Outcome.REJECTED
    assert list(result.outcome) == [A, A, D, R, R, R, A, R]
    assert list(result.reason[3:6]) == [Reason.NOT_A_READING] * 3
    assert result.reason[7] == Reason.FUTURE


def test_a_clock_that_is_an_hour_fast_is_forgiven():
    received = np.array([0.0, 30.0 - 0.9 / 24.0])
    assert np.all(screen([0.0, 30.0], [0.0, 900.0], received_days=received).outcome == A)
    received = np.array([0.0, 30.0 - 1.1 / 24.0])
    assert screen([0.0, 30.0], [0.0, 900.0], received_days=received).reason[1] == Reason.FUTURE


def test_what_people_say_about_a_reading_overrules_the_evidence():
    keyed = STEADY.copy()
    keyed[4] = 250_000.0
    discarded = np.zeros(10, dtype=np.int8)
    discarded[6] = Verdict.DISCARDED
    result = screen(MONTHLY, STEADY, verdict=discarded)
    assert result.outcome[6] == Outcome.REJECTED
    assert np.all(np.delete(result.outcome, 6) == A)
    released = np.zeros(10, dtype=np.int8)
    released[4] = Verdict.RELEASED
    assert screen(MONTHLY, keyed, verdict=released).outcome[4] == A
    assert screen(MONTHLY, keyed).outcome[4] == C


def test_empty_single_and_equal_histories_are_answered():
    time = np.array([0.0, 0.0, 0.0, 5.0, 5.0])
    keyed = np.array([100.0, 7.0, 7.0, 7.0, 9.0])
    result = screen_readings(entries(time, keyed, np.array([0, 0, 1, 5, 5])))
    assert list(result.outcome) == [A, A, Outcome.DUPLICATE, A, A]
    nothing = screen_readings(entries([], [], np.array([0, 0])))
    assert nothing.outcome.size == 0


def test_disagreeing_shapes_and_times_out_of_order_are_refused():
    with pytest.raises(InvalidInputError):
        screen([1.0, 0.0], [0.0, 10.0])
    with pytest.raises(InvalidInputError):
        screen([0.0, 1.0], [0.0, 10.0], verdict=np.zeros(3, dtype=np.int8))
    with pytest.raises(InvalidInputError):
        screen_readings(entries([0.0, 1.0], [0.0, 1.0], np.array([0, 1])))


def keyed_fleet(seed, process, n=12, gap=20.0):
    rng = np.random.default_rng(seed)
    return key_in(rng, simulate_fleet(rng, process, n, 700, gap))


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), process=st.sampled_from(sorted(PROCESSES)))
def test_what_was_said_on_arrival_is_what_a_replay_up_to_then_says(seed, process):
    """No hindsight: the decision on a reading's arrival is the one of a history that ends with it."""
    keyed = keyed_fleet(seed, process, n=4)
    whole = screen_readings(entries(keyed.time_days, keyed.keyed_km, keyed.offsets))
    for first, end in zip(keyed.offsets[:-1], keyed.offsets[1:], strict=True):
        for cut in range(first + 1, end + 1, 5):
            part = screen(keyed.time_days[first:cut], keyed.keyed_km[first:cut])
            is_open = part.outcome[-1] in (A, H, C)
            if is_open:
                assert (part.outcome[-1] == A) == (whole.outcome_on_arrival[cut - 1] == A)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), process=st.sampled_from(sorted(PROCESSES)))
def test_plainly_clean_histories_are_what_the_chains_would_accept_whole(seed, process):
    """The short cut is no other rule: with it turned off, every reading it waved through is accepted."""
    rng = np.random.default_rng(seed)
    fleet = simulate_fleet(rng, process, 20, 700, float(rng.uniform(3.0, 60.0)))
    waved = clean.find_clean_vehicles(fleet.time_days, fleet.odometer_km, fleet.offsets, np.full(20, 45.0))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            "service.engine.screening.screen.find_clean_vehicles", lambda *_: np.zeros(20, dtype=bool)
        )
        result = screen_readings(entries(fleet.time_days, fleet.odometer_km, fleet.offsets))
    passed = np.repeat(waved, np.diff(fleet.offsets))
    assert np.all(result.outcome[passed] == A)
    assert np.all(result.outcome_on_arrival[passed] == A)


def test_neither_blocks_nor_parts_nor_the_order_of_vehicles_change_a_decision(monkeypatch):
    keyed = keyed_fleet(3, "pool_vehicles", n=30)
    whole = screen_readings(entries(keyed.time_days, keyed.keyed_km, keyed.offsets))
    for block, part in ((1, 10**6), (7, 10**6), (7, 100), (4096, 1)):
        again = screen_readings(entries(keyed.time_days, keyed.keyed_km, keyed.offsets), block, part)
        for name in Screening.__slots__:
            np.testing.assert_array_equal(getattr(again, name), getattr(whole, name))
    for module in (clean, reasons):
        monkeypatch.setattr(module, "BLOCK_READINGS", 50)
    in_small_blocks = screen_readings(entries(keyed.time_days, keyed.keyed_km, keyed.offsets))
    for name in Screening.__slots__:
        np.testing.assert_array_equal(getattr(in_small_blocks, name), getattr(whole, name))
    order = np.random.default_rng(0).permutation(30)
    at = np.concatenate([np.arange(keyed.offsets[v], keyed.offsets[v + 1]) for v in order])
    offsets = np.concatenate([[0], np.cumsum(np.diff(keyed.offsets)[order])])
    mixed = screen_readings(entries(keyed.time_days[at], keyed.keyed_km[at], offsets))
    np.testing.assert_array_equal(mixed.outcome, whole.outcome[at])


@pytest.mark.parametrize("process", sorted(PROCESSES))
def test_true_histories_are_hardly_ever_doubted(process):
    rng = np.random.default_rng(11)
    for gap in (7.0, 30.0):
        fleet = simulate_fleet(rng, process, 120, 900, gap)
        result = screen_readings(entries(fleet.time_days, fleet.odometer_km, fleet.offsets))
        assert np.mean(result.outcome == A) > 0.995
        assert np.mean(result.outcome_on_arrival == A) > 0.99


@pytest.mark.parametrize("process", ["private_cars", "pool_vehicles", "city_buses"])
def test_seven_mistakes_in_a_hundred_are_found(process):
    """Gross mistakes are those further off than two months of driving; some small ones cannot be told from trips."""
    rng = np.random.default_rng(12)
    fleet = simulate_fleet(rng, process, 150, 900, 14.0)
    keyed = key_in(rng, fleet)
    result = screen_readings(entries(keyed.time_days, keyed.keyed_km, keyed.offsets))
    accepted = result.outcome == A
    right = ~keyed.is_wrong & (result.outcome != Outcome.DUPLICATE)
    assert np.mean(accepted[right]) > 0.985
    vehicle = np.repeat(np.arange(150), np.diff(keyed.offsets))
    truth = np.array([fleet.true_at(v, t) for v, t in zip(vehicle, keyed.time_days, strict=True)])
    rate = (fleet.true_km[:, -1] - fleet.true_km[:, 0])[vehicle] / 900.0
    gross = np.abs(keyed.keyed_km - truth) > 60.0 * rate + 500.0
    assert np.mean(~accepted[keyed.is_wrong & gross]) > 0.97
    assert np.mean((np.abs(result.odometer_km - truth) > 60.0 * rate + 500.0)[accepted]) < 0.004


def test_a_step_that_is_believed_already_is_not_asked_about_and_the_next_one_is():
    """A vehicle does seven times what its class does; of its history only the first and the latest are given."""
    time, keyed = np.array([0.0, 300.0, 301.0, 302.0]), np.array([0.0, 100_000.0, 100_333.0, 100_666.0])
    offsets, rate = np.array([0, 4]), np.array([45.0])
    assert not clean.find_clean_vehicles(time, keyed, offsets, rate).item()
    believed = np.array([True, True, True, False])
    assert clean.find_clean_vehicles(time, keyed, offsets, rate, believed).item()
    keyed[3] = 1_006_660.0
    assert not clean.find_clean_vehicles(time, keyed, offsets, rate, believed).item()
