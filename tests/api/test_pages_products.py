"""Products at the desk: listed, added, changed and hidden, each by its own data sheet."""

from typing import Any

import pytest
from django.test import Client

from jobs.work.models import Product
from tests.api.desk import signed_in, text_of
from tests.api.looked import section, words
from tests.api.steps import NOWHERE, done
from tests.scene import Scene, key_api

pytestmark = pytest.mark.django_db
BALM: dict[str, str] = {
    "name": "Larchmoor balm",
    "operation": "trim_dressing",
    "reference_minutes": "150",
    "reference_celsius": "20",
    "q10": "1.8",
    "lowest_celsius": "4.5",
    "apply_from_celsius": "12",
    "sheet": "Larchmoor balm, March 2026",
}
STANDARD = {
    "reference_celsius": "15",
    "q10": "2",
    "lowest_celsius": "5",
    "apply_from_celsius": "10",
}


@pytest.fixture
def desk(scene: Scene) -> Client:
    """Return the manager's browser."""
    return signed_in(scene.manager)


def added(scene: Scene, **changes: Any) -> Any:
    """Keep a product and return it."""
    known = {"name": "Seal 4", "reference_minutes": 120, **changes}
    return done(key_api(scene.workshop).post("/products", known))


def test_without_products_the_list_says_what_clocks_go_by(desk: Client) -> None:
    page = words(text_of(desk.get("/desk/products")))
    assert "No products are in use." in page
    assert "Clocks then go by the minutes of the operation" in page
    assert "own data sheet outranks these times." in page


def test_it_stands_under_set_up_beside_the_air(desk: Client) -> None:
    page = text_of(desk.get("/desk/set-up"))
    assert '<a href="/desk/products">Products</a>' in page
    assert '<a href="/desk/climate">The air</a>' in page


def test_a_product_is_added_and_its_line_says_what_its_sheet_says(desk: Client) -> None:
    form = text_of(desk.get("/desk/new-product"))
    for name, value in STANDARD.items():
        assert f'name="{name}" type="text" autocomplete="off" value="{value}"' in form
    page = text_of(desk.post("/desk/new-product", BALM, follow=True))
    assert "Added: Larchmoor balm. Compare its figures with the sheet once more." in page
    used = section(page, "used")
    assert (
        "used in: Dress exterior trim · cures 2 h 30 min at 20 °C · 1.8 times as fast 10 °C warmer "
        "· stands still below 4.5 °C · no quicker above 25 °C · goes on from 12 °C"
    ) in used
    assert "Sheet: Larchmoor balm, March 2026" in used
    row = Product.objects.get()
    assert (row.reference_minutes, row.q10, row.lowest_celsius) == (150, 1.8, 4.5)


def test_every_wrong_figure_is_named_beside_its_field_and_what_was_typed_stays(
    desk: Client,
) -> None:
    wrong = {**BALM, "name": "", "reference_minutes": "-5", "reference_celsius": "hot",
             "q10": "9", "apply_from_celsius": "-60"}  # fmt: skip
    page = text_of(desk.post("/desk/new-product", wrong), 400)
    for name in ("name", "reference_minutes", "reference_celsius", "q10", "apply_from_celsius"):
        assert f'id="{name}-wrong"' in page, name
        assert f'value="{wrong[name]}"' in page, name
    assert 'value="trim_dressing" selected' in page
    assert not Product.objects.exists()


def test_a_product_that_would_not_cure_at_its_own_temperature_is_refused(desk: Client) -> None:
    page = text_of(desk.post("/desk/new-product", {**BALM, "lowest_celsius": "21"}), 400)
    assert "It cannot stand still at the very temperature its minutes are told for." in page
    assert 'id="lowest_celsius-wrong"' in page


def test_a_name_that_is_taken_is_refused_with_what_to_do(scene: Scene, desk: Client) -> None:
    added(scene, name="Larchmoor balm", hidden=True)
    page = text_of(desk.post("/desk/new-product", BALM), 409)
    assert "There is a product called Larchmoor balm already, perhaps a hidden one." in page
    assert 'value="Larchmoor balm, March 2026"' in page


def test_a_product_is_changed_and_an_emptied_figure_is_no_change(
    scene: Scene, desk: Client
) -> None:
    product = added(scene, reference_celsius=20)
    path = f"/desk/products/{product['id']}"
    form = text_of(desk.get(path))
    assert 'name="reference_celsius" type="text" autocomplete="off" value="20"' in form
    assert "Clocks that run keep the figures they began with." in form
    typed = {**BALM, "name": "Seal 5", "operation": "", "reference_minutes": "0", "sheet": ""}
    page = text_of(desk.post(path, typed, follow=True))
    assert "Saved: Seal 5." in page
    assert "Any operation · need not cure" in section(page, "used")
    refused = text_of(desk.post(path, {**typed, "q10": ""}), 400)
    assert 'id="q10-wrong"' in refused
    row = Product.objects.get()
    assert (row.name, row.q10, row.sheet) == ("Seal 5", 1.8, "")


def test_a_product_is_hidden_and_shown_again(scene: Scene, desk: Client) -> None:
    product = added(scene)
    path = f"/desk/products/{product['id']}/hide"
    page = text_of(desk.post(path, {"hidden": "yes"}, follow=True))
    assert "Hidden: Seal 4." in page
    assert "Seal 4" in section(page, "hidden")
    assert "Show it again" in text_of(desk.get(f"/desk/products/{product['id']}"))
    page = text_of(desk.post(path, {"hidden": "no"}, follow=True))
    assert "Shown again: Seal 4." in page
    assert 'id="hidden"' not in page
    assert Product.objects.get().hidden is False


def test_an_operation_that_was_hidden_since_stays_with_its_product(
    scene: Scene, desk: Client
) -> None:
    product = added(scene, operation="trim_dressing")
    done(key_api(scene.workshop).patch("/operations/trim_dressing", {"hidden": True}))
    form = text_of(desk.get(f"/desk/products/{product['id']}"))
    assert '<option value="trim_dressing" selected>Dress exterior trim (hidden)</option>' in form
    assert "trim_dressing" not in text_of(desk.get("/desk/new-product"))


def test_another_workshops_product_is_not_there(scene: Scene, desk: Client) -> None:
    theirs = done(
        key_api(scene.stranger_workshop).post(
            "/products", {"name": "Theirs", "reference_minutes": 60}
        )
    )
    assert "Theirs" not in text_of(desk.get("/desk/products"))
    for product_id in (theirs["id"], NOWHERE):
        assert desk.get(f"/desk/products/{product_id}").status_code == 404
        assert desk.post(f"/desk/products/{product_id}", BALM).status_code == 404
        assert desk.post(f"/desk/products/{product_id}/hide", {"hidden": "yes"}).status_code == 404
    assert Product.objects.get().hidden is False
