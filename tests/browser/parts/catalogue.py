"""What a workshop sets up about its work: operations, packages, phrases."""

from tests.browser.pages_list import Page

PAGES = (
    Page("desk-set-up", "owner", "/desk/set-up"),
    Page("desk-operations", "owner", "/desk/operations"),
    Page("desk-operations-none", "manager", "/desk/operations?search=nothing+like+it"),
    Page("desk-operation-new", "manager", "/desk/new-operation"),
    Page("desk-operation", "owner", "/desk/operations/wet_extraction"),
    Page("desk-packages", "owner", "/desk/packages"),
    Page("desk-package-new", "manager", "/desk/new-package"),
    Page("desk-package", "owner", "/desk/packages/retail_prep"),
    Page("desk-phrases", "owner", "/desk/phrases"),
    Page("desk-phrase-new", "manager", "/desk/new-phrase"),
    Page("desk-phrase", "owner", "/desk/phrases/click_full_lock"),
)
