"""What PostgreSQL does for the release before, while that still works on the new tables.

Release 511a5e9 knows nothing of what it should write. The release after this one drops them. On
SQLite nobody works while the tables change.
"""

from django.apps.registry import Apps
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

# A "do not drive" stands on the job's row as well.
MARK_JOBS = """
CREATE OR REPLACE FUNCTION jobs_finding_marks_job() RETURNS trigger AS $$
BEGIN
    UPDATE jobs_job SET do_not_drive = true WHERE id = NEW.job_id AND NOT do_not_drive;
    RETURN NULL;
END $$ LANGUAGE plpgsql;
DROP TRIGGER IF EXISTS jobs_finding_marks_job ON jobs_finding;
CREATE TRIGGER jobs_finding_marks_job AFTER INSERT ON jobs_finding
    FOR EACH ROW WHEN (NEW.weight = 'do_not_drive' AND NEW.over_at IS NULL)
    EXECUTE FUNCTION jobs_finding_marks_job();
"""
LEAVE_JOBS_UNMARKED = """
DROP TRIGGER IF EXISTS jobs_finding_marks_job ON jobs_finding;
DROP FUNCTION IF EXISTS jobs_finding_marks_job();
"""
# A clock that is halted has no end.
EMPTY_ENDS = """
CREATE OR REPLACE FUNCTION jobs_waitclock_empty_end() RETURNS trigger AS $$
BEGIN
    IF NEW.earliest_at >= NEW.ends_at THEN
        NEW.earliest_at := NULL;
    END IF;
    NEW.ends_at := NULL;
    RETURN NEW;
END $$ LANGUAGE plpgsql;
DROP TRIGGER IF EXISTS jobs_waitclock_empty_end ON jobs_waitclock;
CREATE TRIGGER jobs_waitclock_empty_end BEFORE INSERT OR UPDATE ON jobs_waitclock
    FOR EACH ROW WHEN (NEW.halted <> '' AND NEW.ends_at IS NOT NULL)
    EXECUTE FUNCTION jobs_waitclock_empty_end();
"""
LEAVE_ENDS = """
DROP TRIGGER IF EXISTS jobs_waitclock_empty_end ON jobs_waitclock;
DROP FUNCTION IF EXISTS jobs_waitclock_empty_end();
"""


def mark_jobs(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    _on_postgresql(schema_editor, MARK_JOBS)


def leave_jobs_unmarked(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    _on_postgresql(schema_editor, LEAVE_JOBS_UNMARKED)


def empty_ends(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    _on_postgresql(schema_editor, EMPTY_ENDS)


def leave_ends(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    _on_postgresql(schema_editor, LEAVE_ENDS)


def _on_postgresql(editor: BaseDatabaseSchemaEditor, statements: str) -> None:
    if editor.connection.vendor == "postgresql":
        editor.execute(statements)
