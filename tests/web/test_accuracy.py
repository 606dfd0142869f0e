"""How past forecasts turned out, as a page."""

import re
from datetime import timedelta

from tests.web.small_fleet import FRIDAY


def test_the_page_says_in_words_what_the_figures_of_the_api_say(workshop, fleet):
    rows = [
        {
            "vehicle": "VAN-02",
            "taken_at": (FRIDAY - timedelta(days=90 + 20 * number)).isoformat(),
            "odometer": 14_000 - 1_100 * number + 137 * (number % 3),
        }
        for number in range(12)
    ]
    assert workshop.operator.post("/v1/readings", {"readings": rows[::-1]}).status_code == 200
    scores = workshop.operator.get("/v1/accuracy").json()["scores"]
    overall = next(one for one in scores if one["method"] == "service" and one["horizon_days"] is None)
    page = workshop.come_in().get("/accuracy").text
    told = re.search(r"range of 8 in 10 for, (\d+) came to lie inside", page)
    assert int(told[1]) == round(100 * overall["coverage_p10_p90"])
    assert page.count("<svg") == 1


def test_without_history_the_page_says_so(workshop):
    page = workshop.come_in().get("/accuracy")
    assert page.status_code == 200
    assert "not enough readings yet" in page.text
