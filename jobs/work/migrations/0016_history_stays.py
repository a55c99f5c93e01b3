"""The database refuses to delete a history entry as well, on SQLite too; retention is let through."""

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

POSTGRESQL_UP = """
CREATE OR REPLACE FUNCTION jobs_history_refuse() RETURNS trigger AS $$
BEGIN
    IF TG_OP = 'DELETE' AND current_setting('jobs.history_may_go', true) = 'on' THEN
        RETURN OLD;
    END IF;
    RAISE EXCEPTION 'The history of a job is never changed.' USING ERRCODE = '23514';
END $$ LANGUAGE plpgsql;
"""
POSTGRESQL_DOWN = """
CREATE OR REPLACE FUNCTION jobs_history_refuse() RETURNS trigger AS $$
BEGIN
    RAISE EXCEPTION 'The history of a job is never changed.' USING ERRCODE = '23514';
END $$ LANGUAGE plpgsql;
"""
SQLITE_UP = """
CREATE TRIGGER jobs_history_stays BEFORE DELETE ON jobs_historyentry
WHEN NOT jobs_history_may_go()
BEGIN
    SELECT RAISE(ABORT, 'The history of a job is never changed.');
END;
"""
SQLITE_DOWN = "DROP TRIGGER jobs_history_stays;"


def up(_apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    editor.execute(POSTGRESQL_UP if editor.connection.vendor == "postgresql" else SQLITE_UP)


def down(_apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    editor.execute(POSTGRESQL_DOWN if editor.connection.vendor == "postgresql" else SQLITE_DOWN)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0015_orders_waiting")]
    operations = [migrations.RunPython(up, down)]
