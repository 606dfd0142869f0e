"""The main paths in a real Chromium with the keyboard alone (WCAG 2.2, 2.1.1, 2.1.2 and 2.4.7)."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from service.jobs.weekly_run import run_weekly
from service.main import build_app
from service.settings import Settings
from tests.web.keyboard import Keyboard
from tests.web.open_browser import SIZES, OpenBrowser, served
from tests.web.page_examples import PAGES, driver_link, furnish

pytestmark = pytest.mark.browser

TABLE = "number,class,depot\nVAN-31,van,North\nVAN-32,spaceship,North\n"
STEPS_BEFORE = ("specification_checked", "fill_plug_opened_first")
STEPS_AFTER = ("torque_by_maker", "leaks_checked", "used_fluid_stored")


def on_the_shelf(workshop) -> float:
    """Litres and pieces of everything, added up."""
    stock = workshop.operator.get("/v1/stock").json()
    return sum(one["litres"] for one in stock["fluids"]) + sum(one["pieces"] for one in stock["parts"])


@pytest.fixture
def address(workshop, fleet, database, clock) -> Iterator[str]:
    furnish(workshop.operator)
    assert run_weekly(database, clock.now(), "node") == 1
    workshop.come_in()
    with served(build_app(Settings(environment="test", scheduler=False), database, clock)) as origin:
        yield origin


@pytest.fixture
def keyboard(browser: Browser, address, workshop) -> Iterator[Keyboard]:
    """Somebody at a keyboard who is signed in."""
    window = OpenBrowser(browser, address, SIZES[1], "light")
    window.hold("sumpwise", workshop.client.cookies["sumpwise"])
    yield Keyboard(window)
    window.close()


def test_signing_in_and_moving_a_visit(browser, address, workshop):
    workshop.fill("/password", "/password", password="four invented words")
    keyboard = Keyboard(OpenBrowser(browser, address, SIZES[1], "light"))
    keyboard.go("/sign-in?next=/lines/lin_1")
    keyboard.fill(login="olga", password="four invented words")
    keyboard.press("Sign in")
    keyboard.to("moved_to_on")
    keyboard.keys.type("05072026")
    keyboard.press("Move")
    assert "Thursday 07/05/2026" in keyboard.text()
    keyboard.window.close()


def test_a_depot_a_vehicle_and_its_compartment_are_registered(keyboard, workshop):
    keyboard.go("/settings")
    keyboard.fill(depot_name="West")
    keyboard.press("Add")
    keyboard.go("/vehicles/new")
    keyboard.fill(vehicle_reference="VAN-21")
    keyboard.choose("vehicle_class", "Van")
    keyboard.fill(depot="West")
    keyboard.press("Register it")
    keyboard.choose("kind", "Axle")
    keyboard.fill(name="rear axle", total_litres="2.5", interval_km="80000")
    keyboard.tick("has_fluid_counter")
    keyboard.press("Save")
    assert "rear axle" in keyboard.text()
    (found,) = workshop.operator.get("/v1/vehicles/VAN-21/compartments").json()["compartments"]
    assert (found["total_litres"], found["interval_km"], found["has_fluid_counter"]) == (2.5, 80_000, True)
    assert workshop.operator.get("/v1/vehicles/VAN-21").json()["depot"] == "West"


def test_fluids_and_parts_are_added_and_changed(keyboard, workshop):
    keyboard.go("/stock/new")
    keyboard.fill(fluid_name="Blue Two", fluid_pack="20", fluid_price="99")
    keyboard.press("Add the fluid")
    keyboard.press("Add a fluid or a part")
    keyboard.fill(part_name="filter seal", part_pack="5")
    keyboard.press("Add the part")
    keyboard.press("Change Blue Two")
    keyboard.fill(lead="9", **{"pack-2-size": "60", "pack-2-price": "250"})
    keyboard.press("Save")
    found = {one["fluid"]: one for one in workshop.operator.get("/v1/fluids").json()["fluids"]}
    assert sorted(pack["litres"] for pack in found["Blue Two"]["packs"]) == [20.0, 60.0]
    assert [part["part"] for part in workshop.operator.get("/v1/parts").json()["parts"]][-1] == "filter seal"


def test_a_table_of_vehicles_is_uploaded_mapped_corrected_and_registered(keyboard, workshop, tmp_path):
    table = tmp_path / "fleet.csv"
    table.write_text(TABLE)
    keyboard.go("/start")
    keyboard.to("file")
    with keyboard.window.page.expect_file_chooser() as chosen:
        keyboard.keys.press("Space")
    chosen.value.set_files(table)
    keyboard.press(name="do", value="preview")
    assert "spaceship" in keyboard.text()
    assert keyboard.window.page.locator("td .field-error").count() == 1
    keyboard.fill(table=TABLE.replace("spaceship", "van"))
    keyboard.choose("column-depot", "depot")
    keyboard.press(name="do", value="preview")
    assert keyboard.window.page.locator("td .field-error").count() == 0
    keyboard.press(name="do", value="register")
    assert workshop.operator.get("/v1/vehicles/VAN-32").status_code == 200


def test_readings_are_posted_released_and_discarded(keyboard, workshop):
    keyboard.go("/vehicles/VAN-01")
    keyboard.press("It is wrong")
    assert "Discarded" in keyboard.text()
    keyboard.fill(odometer="7999")
    keyboard.press("Save the reading")
    assert "held" in keyboard.text()
    keyboard.press("It is right", key="Space")
    assert "Released" in keyboard.text()


def test_a_job_is_refused_while_a_step_is_open_and_then_closed(keyboard, workshop):
    keyboard.go("/vehicles/VAN-01/job-sheet")
    keyboard.tick(*(f"cmp_1-step_{step}" for step in STEPS_BEFORE))
    keyboard.next_of("cmp_1-old_fluid_grade", 2)
    keyboard.fill(**{f"cmp_1-{which}-1": "3.5" for which in ("drained", "filled")})
    keyboard.fill(**{"cmp_1-level_celsius": "40"})
    keyboard.tick("cmp_1-seals_renewed", *(f"cmp_1-step_{step}" for step in STEPS_AFTER))
    keyboard.fill(odometer="79990")
    keyboard.press(name="do", value="close")
    assert keyboard.window.page.url.endswith("/job-sheet")
    assert keyboard.window.page.locator("[name=cmp_1-counter_reset][aria-invalid=true]").count() == 1
    assert keyboard.window.page.input_value("[name=cmp_1-drained-1]") == "3.5"
    keyboard.tick("cmp_1-counter_reset")
    keyboard.press(name="do", value="close")
    assert "The job is closed" in keyboard.text()
    assert len(workshop.operator.get("/v1/services?vehicle=VAN-01").json()["services"]) == 1


def test_an_order_is_confirmed_and_received_and_a_receipt_written_down(keyboard, workshop):
    keyboard.go("/stock")
    keyboard.fill(litres="3")
    keyboard.press("Write it down")
    assert on_the_shelf(workshop) == 3.0
    keyboard.press("Order 1\u00a0×")
    assert "The order is placed." in keyboard.text()
    keyboard.press("It has come")
    assert "Received" in keyboard.text()
    assert on_the_shelf(workshop) > 3.0


def test_settings_people_and_tokens(keyboard, workshop):
    keyboard.go("/settings")
    keyboard.choose("distance_unit", "miles")
    keyboard.press("Save")
    assert workshop.operator.get("/v1/organisation").json()["distance_unit"] == "mi"
    keyboard.press("People")
    keyboard.fill(login="maxi", name="Maxi Invented")
    keyboard.press("Add")
    assert "/sign-in/" in keyboard.text()
    keyboard.press("Tokens")
    keyboard.fill(name="gateway")
    keyboard.press("Make it")
    assert keyboard.window.page.locator("code").count() == 1
    keyboard.press("What the plan reckons with")
    keyboard.fill(labour_minor_an_hour="75")
    keyboard.press("Save")
    assert workshop.operator.get("/v1/organisation").json()["planning"] == {"labour_minor_an_hour": 7500.0}


def test_a_drivers_link_is_made_and_used(keyboard, workshop, database, clock, browser, address):
    keyboard.go("/vehicles/VAN-02")
    keyboard.fill(link_name="Glove box")
    keyboard.press("Make a link")
    assert keyboard.window.findings() == []
    link = driver_link(database, workshop.operator.organisation_id, clock)
    driver = Keyboard(OpenBrowser(browser, address, SIZES[0], "dark"))
    driver.go(f"/driver/{link}")
    driver.fill(odometer="80100")
    driver.press("Save")
    assert "Saved. Thank you." in driver.text()
    driver.window.close()


def test_no_page_holds_the_focus_or_hides_it(keyboard, workshop, database, clock):
    """Once around every page: the focus is seen at every stop and comes back to the beginning."""
    link = driver_link(database, workshop.operator.organisation_id, clock)
    for path in PAGES.values():
        keyboard.go(path.format(link=link))
        assert keyboard.round_trip() > 1, path


def test_a_record_is_taken_back_with_a_reason(keyboard, workshop):
    keyboard.go("/services/srv_1")
    keyboard.fill(reason="It was another van.")
    keyboard.press("Take this record back")
    assert "The record is void" in keyboard.text()
    assert workshop.operator.get("/v1/services/srv_1").json()["voided_at"] is not None
