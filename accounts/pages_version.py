"""Counts what changes on an organisation's pages, by triggers: no writer can forget it.

Each app says which of its tables its pages show, and whose pages those are (`show_table`). After
`migrate` the triggers are made, or made anew where what they do has changed. On PostgreSQL a
transaction raises a count once however much it writes, and takes a row that nobody else has locked,
so that writers never wait for each other.
"""

import secrets
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from django.db import connections, transaction

TABLE = "accounts_pagesversion"
PREFIX = "pages_version_"
EVENTS = ("INSERT", "UPDATE", "DELETE")
FAR_BITS = 40  # years of changes, and room for thousands of restores
FAR = 2**FAR_BITS


@dataclass(frozen=True, slots=True)
class ShownTable:
    """A table that pages show.

    `owners` is the SQL that returns as `id` the organisations whose pages show a row, which it
    calls `{row}`. `only`: the columns that are shown, where an update of others changes no page;
    `key` is the primary key.
    """

    name: str
    owners: str
    only: Sequence[str] = ()
    key: str = "id"

    def trigger(self, event: str, vendor: str) -> str:
        """Return the trigger's name, which tells what it does: another rule, another name."""
        rule = "\n".join(STATEMENTS[vendor](self, event, "")).encode()
        return f"{PREFIX}{event[:3].lower()}_{self.name}_{sha256(rule).hexdigest()[:8]}"


_shown: dict[str, ShownTable] = {}


def show_table(name: str, owners: str, *, only: Sequence[str] = (), key: str = "id") -> None:
    """Have the changes of a table counted. Raises ValueError where they are counted otherwise."""
    table = ShownTable(name, owners, tuple(only), key)
    if _shown.setdefault(name, table) != table:
        raise ValueError(f"The changes of {name} are counted in another way already.")


def shown_tables() -> frozenset[str]:
    """Return the tables whose changes are counted."""
    return frozenset(_shown)


def triggers_missing(using: str = "default") -> bool:
    """Return whether a change might go uncounted, so that no page may be called unchanged."""
    connection = connections[using]
    return not _expected(connection.vendor, _shown).keys() <= _existing(connection).keys()


def triggers_make(using: str = "default") -> None:
    """Make the triggers that are not there, and drop those of another rule.

    Tables that are not there yet are left out. What was written meanwhile was not counted, so
    everybody's count is raised at the end.
    """
    connection = connections[using]
    with connection.cursor() as cursor:
        there = set(connection.introspection.table_names(cursor))
    if TABLE not in there:
        return
    existing = _existing(connection)
    expected = _expected(connection.vendor, there & _shown.keys())
    if existing.keys() == expected.keys():
        return
    if connection.vendor == "postgresql":
        _run(connection, [_RAISE])
    for name in expected.keys() - existing.keys():
        table, event = expected[name]
        _run(connection, STATEMENTS[connection.vendor](table, event, name))
    _drop(connection, {name: existing[name] for name in existing.keys() - expected.keys()})
    _run(connection, [f"UPDATE {TABLE} SET count = count + 1"])  # noqa: S608  a constant


def count_far_on() -> None:
    """Raise each count beyond whatever was counted before a restore: its tags come to no page."""
    further = FAR + secrets.randbits(FAR_BITS)
    _run(connections["default"], [f"UPDATE {TABLE} SET count = count + {further}"])  # noqa: S608  ours


def triggers_drop(using: str = "default") -> None:
    """Drop every trigger of ours: SQLite changes no table that the trigger of another names."""
    connection = connections[using]
    _drop(connection, _existing(connection))


def _expected(vendor: str, tables: Iterable[str]) -> dict[str, tuple[ShownTable, str]]:
    return {
        _shown[name].trigger(event, vendor): (_shown[name], event)
        for name in sorted(tables)
        for event in EVENTS
    }


def _existing(connection: Any) -> dict[str, str]:
    """Return our triggers that are there, with their tables."""
    postgres = (
        "SELECT t.tgname, c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
        " WHERE NOT t.tgisinternal AND t.tgenabled <> 'D' AND starts_with(t.tgname::text, %s)"
        " AND pg_table_is_visible(c.oid)"
    )
    sqlite = (
        "SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger' AND instr(name, %s) = 1"
    )
    with connection.cursor() as cursor:
        cursor.execute(postgres if connection.vendor == "postgresql" else sqlite, [PREFIX])
        return dict(cursor.fetchall())


def _drop(connection: Any, triggers: dict[str, str]) -> None:
    for name, table in sorted(triggers.items()):
        on = f" ON {table}" if connection.vendor == "postgresql" else ""
        of = [f"DROP FUNCTION IF EXISTS {name}()"] if on else []
        _run(connection, [f"DROP TRIGGER {name}{on}", *of])


def _run(connection: Any, statements: Iterable[str]) -> None:
    """Run statements that belong together: no table stays locked for the triggers of the next."""
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


# What a transaction raised already it remembers in a setting of its own, which a savepoint that is
# rolled back takes back as well.
_RAISE = f"""
CREATE OR REPLACE FUNCTION {PREFIX}raise(organisation uuid) RETURNS void LANGUAGE plpgsql AS $$
DECLARE raised text := coalesce(current_setting('accounts.pages_raised', true), '');
BEGIN
    IF organisation IS NULL OR position(organisation::text IN raised) > 0 THEN
        RETURN;
    END IF;
    UPDATE {TABLE} SET count = count + 1 WHERE id = (
        SELECT id FROM {TABLE} WHERE organisation_id = organisation
        ORDER BY id LIMIT 1 FOR UPDATE SKIP LOCKED
    );
    IF NOT FOUND THEN
        INSERT INTO {TABLE} (organisation_id, count) VALUES (organisation, 1);
    END IF;
    PERFORM set_config('accounts.pages_raised', raised || organisation::text, true);
END $$
"""  # noqa: S608  constants


def _rows(table: ShownTable, event: str) -> str:
    """Return the rows that a statement changed, as PostgreSQL's trigger sees them."""
    if event != "UPDATE":
        return {"INSERT": "new_rows", "DELETE": "old_rows"}[event]
    both = "SELECT * FROM old_rows UNION ALL SELECT * FROM new_rows"
    if not table.only:
        return f"({both})"
    old, new = (", ".join(f"{side}.{column}" for column in table.only) for side in ("o", "n"))
    pairs = f"new_rows n JOIN old_rows o ON o.{table.key} = n.{table.key}"
    return f"(SELECT n.* FROM {pairs} WHERE ({old}) IS DISTINCT FROM ({new}))"  # noqa: S608  as below


def _on_postgresql(table: ShownTable, event: str, name: str) -> Iterator[str]:
    """Yield what makes a trigger, which runs once for each statement."""
    owners = table.owners.format(row="r")
    seen = {"INSERT": "NEW TABLE AS new_rows", "DELETE": "OLD TABLE AS old_rows"}
    both = "OLD TABLE AS old_rows NEW TABLE AS new_rows"
    yield f"""
CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM {PREFIX}raise(owner.id) FROM (
        SELECT DISTINCT o.id FROM {_rows(table, event)} r CROSS JOIN LATERAL ({owners}) o
    ) owner;
    RETURN NULL;
END $$
"""  # noqa: S608  what the apps say, no input
    yield (
        f"CREATE TRIGGER {name} AFTER {event} ON {table.name} REFERENCING {seen.get(event, both)}"
        f" FOR EACH STATEMENT EXECUTE FUNCTION {name}()"
    )


def _on_sqlite(table: ShownTable, event: str, name: str) -> Iterator[str]:
    """Yield what makes a trigger, which runs once for each row: SQLite knows no other."""
    sides = {"INSERT": ("NEW",), "DELETE": ("OLD",)}.get(event, ("OLD", "NEW"))
    owners = " UNION ".join(table.owners.format(row=side) for side in sides)
    changed = " OR ".join(f"OLD.{column} IS NOT NEW.{column}" for column in table.only)
    when = f" WHEN {changed}" if event == "UPDATE" and table.only else ""
    yield f"""
CREATE TRIGGER {name} AFTER {event} ON {table.name} FOR EACH ROW{when}
BEGIN
    UPDATE {TABLE} SET count = count + 1 WHERE organisation_id IN ({owners});
    INSERT INTO {TABLE} (organisation_id, count)
        SELECT owner.id, 1 FROM ({owners}) owner
        WHERE owner.id IS NOT NULL AND owner.id NOT IN (SELECT organisation_id FROM {TABLE});
END
"""  # noqa: S608  what the apps say, no input


STATEMENTS = {"postgresql": _on_postgresql, "sqlite": _on_sqlite}
