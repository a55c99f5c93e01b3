"""Tests of what is kept how long, and of export and erasure."""
