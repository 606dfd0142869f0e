"""How past forecasts turned out, as a page."""

import re
from datetime import timedelta

from tests.web.small_fleet import FRIDAY


def send(workshop, n_readings, n_vehicles):
    """Readings of new vans, weekly, with now a longer week and now a shorter one."""
    for van in range(60, 60 + n_vehicles):
        new = {"vehicle": f"VAN-{van}", "class": "van", "depot": "North"}
        assert workshop.operator.post("/v1/vehicles", new).status_code == 201
        rows = [
            {
                "vehicle": f"VAN-{van}",
                "taken_at": (FRIDAY - timedelta(days=9 + 7 * number)).isoformat(),
                "odometer": 94_000 - 5 * van * number + 41 * (number * van % 5),
            }
            for number in range(n_readings)
        ]
        answer = workshop.operator.post("/v1/readings", {"readings": rows[::-1]})
        assert answer.json()["accepted"] == n_readings, answer.text


def test_the_page_says_in_words_what_the_figures_of_the_api_say(workshop, fleet):
    send(workshop, 60, 3)
    told = workshop.operator.get("/v1/accuracy").json()
    dates = next(one for one in told["dates"] if one["horizon_days"] is None)
    odometers = next(
        one for one in told["scores"] if one["method"] == "service" and one["horizon_days"] is None
    )
    page = workshop.come_in().get("/accuracy").text
    shown = re.search(r"gave as 80.% sure, (\d+) held, (\d+) came earlier and (\d+) later", page)
    held, early, late = (int(shown[place]) for place in (1, 2, 3))
    assert (held, early) == (round(100 * dates["held_p10_p90"]), round(100 * dates["before_p10"]))
    assert held + early + late == 100
    inside = re.search(r"range of 8 in 10 for, (\d+) came to lie inside", page)
    assert int(inside[1]) == round(100 * odometers["coverage_p10_p90"])
    assert page.count("<svg") == 1


def test_few_dates_are_called_few_and_no_share_is_told(workshop, fleet):
    send(workshop, 12, 1)
    told = workshop.operator.get("/v1/accuracy").json()["dates"]
    n_dates = next(one["n_dates"] for one in told if one["horizon_days"] is None)
    assert 0 < n_dates < 30
    page = workshop.come_in().get("/accuracy").text
    assert f"Of our dates, {n_dates} can be judged so far. That is too few" in page
    assert "held," not in page
    assert "<svg" not in page
    assert "too few</span>" in page


def test_without_history_the_page_says_so(workshop):
    page = workshop.come_in().get("/accuracy")
    assert page.status_code == 200
    assert "not enough readings yet" in page.text
