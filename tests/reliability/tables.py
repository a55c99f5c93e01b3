"""What PostgreSQL's tables are like, to the last default, index and trigger."""

import psycopg

# Each yields a line for a thing there is; PostgreSQL writes out what it is itself.
CATALOGUE = {
    "columns": """
        SELECT format('%s.%s %s%s default %s', c.relname, a.attname,
                      format_type(a.atttypid, a.atttypmod),
                      CASE WHEN a.attnotnull THEN ' not null' ELSE '' END,
                      COALESCE(pg_get_expr(d.adbin, d.adrelid), a.attidentity::text))
          FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0
          LEFT JOIN pg_attrdef d ON d.adrelid = c.oid AND d.adnum = a.attnum
         WHERE c.relkind = 'r' AND c.relnamespace = 'public'::regnamespace AND NOT a.attisdropped
    """,
    "indexes": """
        SELECT format('%s valid %s', pg_get_indexdef(i.indexrelid), i.indisvalid)
          FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid
         WHERE c.relnamespace = 'public'::regnamespace
    """,
    "constraints": """
        SELECT format('%s %s: %s', conrelid::regclass, conname, pg_get_constraintdef(oid))
          FROM pg_constraint WHERE connamespace = 'public'::regnamespace AND conrelid <> 0
    """,
    "triggers": "SELECT pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal",
    "functions": """
        SELECT pg_get_functiondef(oid) FROM pg_proc WHERE pronamespace = 'public'::regnamespace
    """,
}


def lines(connection: "psycopg.Connection") -> set[str]:
    """Return a line for everything in the database that is no row."""
    found = set()
    for kind, statement in CATALOGUE.items():
        found |= {f"{kind}: {line}" for (line,) in connection.execute(statement)}
    return found
