"""The pages that are looked at in a browser, a file for each part; each has a tuple PAGES."""
