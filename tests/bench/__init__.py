"""Measurements, run by `make bench`: ratios against a baseline of the same run."""
