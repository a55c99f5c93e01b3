"""Which tables the polled pages show of cars, and whose pages a row stands on."""

from accounts.pages_version import show_table

# What is true of a car stands on its workshop's pages and on its dealer's.
BY_CAR = (
    "jobs_finding",
    "jobs_historyentry",
    "jobs_hold",
    "jobs_scopechange",
    "jobs_task",
    "jobs_waitclock",
    "jobs_walkround",
    "jobs_workrequest",
)
# What belongs to one of those, by the column that names it.
BY_PART = {
    "jobs_belonging": ("finding_id", "jobs_finding"),
    "jobs_finding_photos": ("finding_id", "jobs_finding"),
    "jobs_requestmessage": ("request_id", "jobs_workrequest"),
    "jobs_spell": ("task_id", "jobs_task"),
    "jobs_workrequest_photos": ("workrequest_id", "jobs_workrequest"),
}


def show_tables() -> None:
    """Have the changes of every table counted that a polled page shows."""
    show_table("jobs_job", "SELECT {row}.workshop_id AS id UNION SELECT {row}.dealer_id", key="id")
    for name in BY_CAR:
        show_table(name, _both("jobs_job j WHERE j.id = {row}.job_id"))
    for name, (column, whole) in BY_PART.items():
        car = f"jobs_job j JOIN {whole} w ON w.job_id = j.id"
        show_table(name, _both(f"{car} WHERE w.id = {{row}}.{column}"))
    show_table("jobs_climatereading", "SELECT {row}.workshop_id AS id")
    show_table(
        "jobs_dashboardlook",
        "SELECT p.organisation_id AS id FROM accounts_person p WHERE p.id = {row}.person_id",
        only=["seen_until"],
        key="person_id",
    )


def _both(cars: str) -> str:
    """Return the SQL of the two ends of some cars, called j."""
    return f"SELECT j.workshop_id AS id FROM {cars} UNION SELECT j.dealer_id FROM {cars}"  # noqa: S608  our own words
