"""Connections to addresses that an organisation named: only to where they may lead."""
