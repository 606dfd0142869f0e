"""Changing fluids and parts: packs, prices, lead times; and what the plan reckons with."""

import re
from html import unescape

import pytest

from service.domain.roles import Role

FLUID = "/stock/fluids/fld_1"
TERMS = "/settings/planning"


@pytest.fixture
def owner(workshop, fleet):
    return workshop.come_in()


def shown(owner, path):
    """What every field of the form shows, as a browser would send it again."""
    html = owner.get(path).text
    fields = dict(re.findall(r'<input id="[^"]*" name="([^"]+)"[^>]* value="([^"]*)"', html))
    fields |= dict(re.findall(r'<textarea id="[^"]*" name="([^"]+)"[^>]*>\n([^<]*)</textarea>', html))
    return {name: unescape(value) for name, value in fields.items()}


def fluid_of(owner):
    found = owner.operator.get("/v1/fluids").json()["fluids"]
    return next(one for one in found if one["fluid"] == "Red Seven")


def test_prices_packs_and_lead_times_are_changed_and_the_rest_stays(owner):
    before = fluid_of(owner)
    fields = shown(owner, FLUID) | {
        "lead": "12",
        "spread": "3.5",
        "level": "97.5",
        "pack-1-price": "52.50",
        "pack-1-minimum": "2",
        "pack-1-breaks": "10: 48.00; 20: 45.5",
        "pack-3-size": "60",
        "pack-3-price": "480",
    }
    answer = owner.fill(FLUID, FLUID, **fields)
    assert answer.status_code == 303, answer.text
    after = fluid_of(owner)
    assert (after["lead_time_days"], after["lead_time_sd_days"], after["service_level"]) == (12.0, 3.5, 0.975)
    packs = sorted(after["packs"], key=lambda pack: pack["litres"])
    assert [pack["litres"] for pack in packs] == [5.0, 20.0, 60.0]
    assert [pack["price_minor"] for pack in packs] == [5250, 16900, 48000]
    assert packs[0]["minimum_packs"] == 2
    breaks = [(one["from_packs"], one["price_minor"]) for one in packs[0]["price_breaks"]]
    assert breaks == [(10, 4800), (20, 4550)]
    assert after["specifications"] == before["specifications"]


def test_looking_at_it_in_gallons_and_saving_changes_nothing(owner):
    owner.operator.patch("/v1/organisation", {"volume_unit": "us_gallon"})
    before = fluid_of(owner)
    fields = shown(owner, FLUID)
    assert fields["pack-2-size"] == "5.28344"  # 20 L / 3.785411784, NIST Handbook 44 appendix C
    assert owner.fill(FLUID, FLUID, **fields).status_code == 303
    assert fluid_of(owner) == before
    assert owner.fill(FLUID, FLUID, **fields | {"pack-1-price": "51"}).status_code == 303
    assert sorted(pack["litres"] for pack in fluid_of(owner)["packs"]) == [5.0, 20.0]


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"level": "120"}, "Must be between 50 and 99.99"),
        ({"lead": ""}, "Fill this in."),
        ({"lead": "-3"}, "Must be between"),
        ({"pack-1-price": "abc"}, "Not a number"),
        ({"pack-1-breaks": "cheap"}, "Write from how many packs on"),
        ({"pack-1-breaks": "10: 90.00"}, "More packs must cost less each"),
        ({"pack-3-size": "5"}, "Name each size once."),
        ({"keeps": "9999"}, "Must be between"),
    ],
)
def test_what_cannot_be_right_is_told_at_its_field(owner, changed, told):
    before = fluid_of(owner)
    answer = owner.fill(FLUID, FLUID, **shown(owner, FLUID) | changed)
    assert answer.status_code == 422
    assert told in answer.text
    assert all(f'value="{value}"' in answer.text for value in changed.values() if value)
    assert fluid_of(owner) == before


def test_a_part_is_changed_and_its_packs_are_whole_pieces(owner):
    assert owner.operator.post("/v1/parts", {"part": "drain plug washer"}).status_code == 201
    path = "/stock/parts/prt_1"
    fields = shown(owner, path) | {"lead": "4", "pack-1-size": "10", "pack-1-price": "8"}
    assert owner.fill(path, path, **fields).status_code == 303
    part = owner.operator.get("/v1/parts").json()["parts"][0]
    assert part["lead_time_days"] == 4.0
    assert [(pack["pieces"], pack["price_minor"]) for pack in part["packs"]] == [(10, 800)]
    half = owner.fill(path, path, **fields | {"pack-1-size": "2.5"})
    assert half.status_code == 422
    assert "whole pieces" in half.text


def test_articles_of_others_are_not_there_and_mechanics_may_not(owner, join):
    owner.come_in("eve", organisation_id=join("Other Invented").organisation_id)
    assert owner.get(FLUID).status_code == 404
    owner.come_in("max", Role.MECHANIC)
    assert owner.get(FLUID).status_code == 403
    assert "/stock/fluids/" not in owner.get("/stock").text


def test_terms_of_planning_are_set_and_emptied(owner):
    fields = shown(owner, TERMS)
    assert fields["labour_minor_an_hour"] == ""
    changed = {"labour_minor_an_hour": "85.50", "listing_probability": "30", "order_plan_weeks": "8"}
    assert owner.fill(TERMS, TERMS, **fields | changed).status_code == 303
    terms = owner.operator.get("/v1/organisation").json()["planning"]
    assert terms == {"labour_minor_an_hour": 8550.0, "listing_probability": 0.3, "order_plan_weeks": 8.0}
    again = shown(owner, TERMS)
    assert again["labour_minor_an_hour"] == "85.5"
    assert owner.fill(TERMS, TERMS, **again | {"order_plan_weeks": ""}).status_code == 303
    assert "order_plan_weeks" not in owner.operator.get("/v1/organisation").json()["planning"]
    wrong = owner.fill(TERMS, TERMS, **again | {"listing_probability": "99"})
    assert wrong.status_code == 422
    assert "Must be between 5 and 95" in wrong.text


@pytest.mark.parametrize(
    ("currency", "shown_as", "typed", "minor"),
    [("JPY", "4900", "5250", 5250), ("KWD", "4.900", "5,250", 5250), ("EUR", "49.00", "52.5", 5250)],
)
def test_prices_and_terms_are_read_and_shown_in_the_smallest_unit_of_the_currency(
    owner, currency, shown_as, typed, minor
):
    """Decimals by ISO 4217: the yen has none, the Kuwaiti dinar three."""
    owner.operator.patch("/v1/organisation", {"currency": currency})
    fields = shown(owner, FLUID)
    assert fields["pack-1-price"] == shown_as
    fields |= {"pack-1-price": typed, "pack-1-breaks": f"10: {shown_as}"}
    answer = owner.fill(FLUID, FLUID, **fields)
    assert answer.status_code == 303, answer.text
    pack = min(fluid_of(owner)["packs"], key=lambda one: one["litres"])
    assert pack["price_minor"] == minor
    assert pack["price_breaks"] == [{"from_packs": 10, "price_minor": 4900}]
    answer = owner.fill(TERMS, TERMS, **(shown(owner, TERMS) | {"labour_minor_an_hour": typed}))
    assert answer.status_code == 303, answer.text
    assert owner.operator.get("/v1/organisation").json()["planning"]["labour_minor_an_hour"] == minor
    assert float(shown(owner, TERMS)["labour_minor_an_hour"]) == float(typed.replace(",", "."))


def test_half_a_yen_is_refused_at_its_field(owner):
    owner.operator.patch("/v1/organisation", {"currency": "JPY"})
    answer = owner.fill(FLUID, FLUID, **(shown(owner, FLUID) | {"pack-1-price": "52.50"}))
    assert answer.status_code == 422
    assert "finer than the currency" in answer.text
    answer = owner.fill(TERMS, TERMS, **(shown(owner, TERMS) | {"labour_minor_an_hour": "85.50"}))
    assert answer.status_code == 422
    assert "finer than the currency" in answer.text


def test_pages_show_amounts_with_the_decimals_of_the_currency(owner):
    """The exchange plan of a vehicle and the order plan of the shelf."""
    for currency, pattern in (("JPY", r"\d\u00a0JPY"), ("KWD", r"\.\d{3}\u00a0KWD")):
        owner.operator.patch("/v1/organisation", {"currency": currency})
        shown_amounts = rf"[\d\u202f.]+\u00a0{currency}"
        found = [
            one
            for path in ("/vehicles/VAN-01", "/stock")
            for one in re.findall(shown_amounts, owner.get(path).text)
        ]
        assert len(found) > 2
        assert all(re.search(pattern, one) for one in found), found
        assert not any(currency == "JPY" and "." in one for one in found), found
