"""A PostgreSQL database of the bench's own, made afresh for each run."""

from urllib.parse import urlsplit, urlunsplit

import psycopg
from psycopg import sql

NAME = "shutline_bench"


def make_fresh(server_url: str) -> str:
    """Drop and make the bench's database on the server; return the database's URL."""
    with psycopg.connect(server_url, autocommit=True) as connection:
        name = sql.Identifier(NAME)
        connection.execute(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(name))
        connection.execute(sql.SQL("CREATE DATABASE {}").format(name))
    return urlunsplit(urlsplit(server_url)._replace(path=f"/{NAME}"))
