"""The desk's pages about products that cure."""

from tests.browser.pages_list import Page

PAGES = (
    Page("desk-products", "manager", "/desk/products"),
    Page("desk-product-new", "owner", "/desk/new-product"),
    Page("desk-product", "owner", "/desk/products/{product}"),
)
