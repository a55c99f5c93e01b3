"""The database itself refuses to change a history entry."""

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

POSTGRESQL_UP = """
CREATE FUNCTION jobs_history_refuse() RETURNS trigger AS $$
BEGIN
    RAISE EXCEPTION 'The history of a job is never changed.' USING ERRCODE = '23514';
END $$ LANGUAGE plpgsql;
CREATE TRIGGER jobs_history_append_only BEFORE UPDATE OR DELETE ON jobs_historyentry
    FOR EACH ROW EXECUTE FUNCTION jobs_history_refuse();
"""
POSTGRESQL_DOWN = """
DROP TRIGGER jobs_history_append_only ON jobs_historyentry;
DROP FUNCTION jobs_history_refuse();
"""
# SQLite empties a table by DELETE where PostgreSQL truncates, so only changes are refused there.
SQLITE_UP = """
CREATE TRIGGER jobs_history_append_only BEFORE UPDATE ON jobs_historyentry
BEGIN
    SELECT RAISE(ABORT, 'The history of a job is never changed.');
END;
"""
SQLITE_DOWN = "DROP TRIGGER jobs_history_append_only;"


def up(_apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    editor.execute(POSTGRESQL_UP if editor.connection.vendor == "postgresql" else SQLITE_UP)


def down(_apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    editor.execute(POSTGRESQL_DOWN if editor.connection.vendor == "postgresql" else SQLITE_DOWN)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0001_initial")]
    operations = [migrations.RunPython(up, down)]
