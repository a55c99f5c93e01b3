"""The sums of the trade: values in, values out; no framework, no clock, no files, no network.

One file per subject, so that a reader with a handbook can check our arithmetic.
"""
