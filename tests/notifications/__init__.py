"""Tests of notices: the catalogue, the API, the engine, e-mail."""
