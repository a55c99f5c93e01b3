"""A PostgreSQL database of the bench's own, made afresh for each run."""

from urllib.parse import urlsplit, urlunsplit

import psycopg
from psycopg import sql

NAME = "shutline_bench"


def make_fresh(server_url: str, name: str = NAME) -> str:
    """Drop and make a database of the bench's on the server; return the database's URL."""
    with psycopg.connect(server_url, autocommit=True) as connection:
        named = sql.Identifier(name)
        connection.execute(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(named))
        connection.execute(sql.SQL("CREATE DATABASE {}").format(named))
    return urlunsplit(urlsplit(server_url)._replace(path=f"/{name}"))
