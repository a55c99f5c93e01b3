"""What becomes of every table: which term rules it, whose its rows are, which columns name people.

A table or a column with text that stands in none of these lists fails a test, so nobody can add
one without saying how long it is kept. Lookups are Django's, from the table's own model.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from jobs.retention.terms import DataKind

Names = tuple[str, ...]
WORKSHOP: Names = ("workshop",)


@dataclass(frozen=True, slots=True)
class Fate:
    """What becomes of one table.

    `kinds`: the terms that rule it; none: kept, as `why` says. `car`: the lookup of the job that a
    row is about. `owners`: the lookups of the organisations whose row it is, where there is no
    car. `personal` goes with the personal data of a car, `names` with its history; `people` are
    ids of people, emptied with the names. `plain` holds codes, figures and our own words. `secret`
    is never handed out. `internal`: the workshop's own, which no dealer is handed.
    """

    why: str
    kinds: tuple[DataKind, ...] = ()
    car: str = ""
    owners: Names = ()
    personal: Names = ()
    names: Names = ()
    people: Names = ()
    plain: Names = ()
    secret: Names = ()
    internal: bool = False


WORDS_OF_CAR = (DataKind.PERSONAL, DataKind.HISTORY)
NOTED = ("actor_person_id",)
FIGURES = "the figures of a car stay; who and what it was goes"
FURNITURE = "what a workshop set up stays until it is erased"
ACCOUNT = "an account stays until it is erased"
OWN_SWEEP = "goes by the hourly sweep of accounts"
OF_A_LIBRARY = "a library's own list, without anybody's data"

CARS: Mapping[str, Fate] = {
    "jobs.Job": Fate(
        FIGURES, WORDS_OF_CAR, "pk",
        personal=("contact_name", "contact_phone", "contact_email", "notes", "location", "keys"),
        names=("dealer_ref", "registration", "registration_key", "vin", "supplied", "remarks"),
        plain=("make", "model", "colour", "operations", "cap_currency"),
    ),
    "jobs.HistoryEntry": Fate(
        FIGURES, WORDS_OF_CAR, "job", names=("actor", "reason", "actor_key", "data"), people=NOTED,
        plain=("from_stage",),
    ),
    "jobs.Task": Fate(
        FIGURES, WORDS_OF_CAR, "job", personal=("note",), plain=("operation", "name")
    ),
    "jobs.Spell": Fate(
        FIGURES, (DataKind.HISTORY,), "task__job", people=("person",), internal=True
    ),
    "jobs.WaitClock": Fate(FIGURES, car="job", plain=("air",)),
    "jobs.TouchTest": Fate(
        FIGURES, WORDS_OF_CAR, "clock__job", personal=("note",), names=("actor",), people=NOTED
    ),
    "jobs.Coat": Fate(
        FIGURES, (DataKind.HISTORY,), "task__job", names=("actor", "reason"), people=NOTED
    ),
    "jobs.SuppliedTick": Fate(
        FIGURES, WORDS_OF_CAR, "job", personal=("note",), names=("actor", "item"), people=NOTED
    ),
    "jobs.Hold": Fate(FIGURES, (DataKind.HISTORY,), "job", names=("reason",)),
    "jobs.Photo": Fate(
        "goes with its files", (DataKind.PICTURES, DataKind.HISTORY), "job",
        personal=("caption",), names=("actor",), people=NOTED,
        plain=("view", "area", "format", "sha256"),
    ),
    "jobs.Rendition": Fate(
        "goes with its file", (DataKind.PICTURES,), "photo__job", plain=("name", "sha256")
    ),
    "jobs.Finding_photos": Fate("goes with the photograph", (DataKind.PICTURES,), "photo__job"),
    "jobs.WorkRequest_photos": Fate(
        "goes with the photograph", (DataKind.PICTURES,), "photo__job"
    ),
    "jobs.Finding": Fate(
        FIGURES, WORDS_OF_CAR, "job",
        personal=("acknowledged_told", "acknowledged_note", "told_to"),
        names=(
            "actor", "noticed", "circumstance", "advice", "acknowledged_by", "over_by",
            "over_reason", "over_recorded_by",
        ),
        people=NOTED, plain=("area", "acknowledged_side", "over_side"),
    ),
    "jobs.Belonging": Fate(
        FIGURES, (DataKind.PERSONAL,), "finding__job",
        personal=("kept_at", "returned_to", "returned_by"),
    ),
    "jobs.ScopeChange": Fate(FIGURES, (DataKind.HISTORY,), "job", names=("seen_by",)),
    "jobs.SpotReading": Fate(
        FIGURES, WORDS_OF_CAR, "job", personal=("note",), names=("actor", "set_aside_reason"),
        people=NOTED, plain=("panel", "readings"),
    ),
    "jobs.PaintTest": Fate(
        FIGURES, WORDS_OF_CAR, "job", personal=("note",), names=("actor", "set_aside_reason"),
        people=NOTED, plain=("panel",),
    ),
    "jobs.FilmCheck": Fate(
        FIGURES, WORDS_OF_CAR, "job", personal=("note",), names=("actor",), people=NOTED,
        plain=("panel",),
    ),
    "jobs.PassesDone": Fate(
        FIGURES, (DataKind.HISTORY,), "job", names=("actor", "set_aside_reason", "reason"),
        people=NOTED, plain=("panel", "warning"),
    ),
    "jobs.ProductUse": Fate(
        FIGURES, WORDS_OF_CAR, "task__job", personal=("note",), names=("actor",), people=NOTED,
        plain=("name",),
    ),
    "jobs.WorkRequest": Fate(
        FIGURES, WORDS_OF_CAR, "job", personal=("closed_note",),
        names=("what", "why", "if_not_done", "actor", "closed_by"), people=NOTED,
        plain=("operations", "currency"),
    ),
    "jobs.RequestMessage": Fate(
        FIGURES, WORDS_OF_CAR, "request__job", personal=("text",), names=("actor",)
    ),
    "jobs.WalkRound": Fate(
        FIGURES, WORDS_OF_CAR, "job", personal=("notes", "damage"), names=("actor",), people=NOTED,
        plain=("warning_lights", "items"),
    ),
    "jobs.FlowCar": Fate("figures alone", car="job", internal=True),
    "retention.Cleared": Fate("that a car's data went; no names", car="job", internal=True),
    "retention.KeptCar": Fate(
        "stays with its car", car="job", personal=("reason",), internal=True
    ),
}  # fmt: skip

PLACES: Mapping[str, Fate] = {
    "jobs.ClimateReading": Fate(
        "readings of the air", (DataKind.READINGS,), owners=WORKSHOP, names=("actor", "sensor")
    ),
    "jobs.Forecast": Fate("the next one takes its place", owners=WORKSHOP, plain=("hours",)),
    "jobs.ClimateSetup": Fate(
        FURNITURE, owners=WORKSHOP, names=("forecast_url",), plain=("forecast_problem",)
    ),
    "jobs.Operation": Fate(
        FURNITURE, owners=WORKSHOP, names=("name", "caution"), plain=("code",)
    ),
    "jobs.Package": Fate(FURNITURE, owners=WORKSHOP, names=("name",), plain=("code", "operations")),
    "jobs.Phrase": Fate(
        FURNITURE, owners=WORKSHOP, names=("group", "noticed", "circumstance", "advice"),
        plain=("code",),
    ),
    "jobs.Product": Fate(
        FURNITURE, owners=WORKSHOP, names=("name", "sheet"), plain=("operation",)
    ),
    "jobs.DayCapacity": Fate(FURNITURE, owners=WORKSHOP),
    "jobs.OrderImport": Fate(
        "lists of orders", (DataKind.IMPORTS,), owners=("dealer",),
        names=("file_name", "lines", "answers"), people=("person",),
    ),
    "jobs.DashboardLook": Fate(
        "goes with its person", owners=("person__organisation",), people=("person",)
    ),
    "retention.Term": Fate(FURNITURE, owners=WORKSHOP),
}  # fmt: skip

ACCOUNTS: Mapping[str, Fate] = {
    "accounts.Organisation": Fate(ACCOUNT, owners=("pk",), names=("name", "contact_email")),
    "accounts.PagesVersion": Fate("a count, of nobody", internal=True),
    "accounts.TradeAccount": Fate(ACCOUNT, owners=("dealer", "workshop")),
    "accounts.Person": Fate(
        ACCOUNT, owners=("organisation",), names=("name", "email"), people=("pk",),
        secret=("password", "pin"),
    ),
    "accounts.Person_groups": Fate("goes with its person", people=("person",)),
    "accounts.Person_user_permissions": Fate("goes with its person", people=("person",)),
    "accounts.Device": Fate(
        "ended tablets say who had a way in", owners=WORKSHOP, names=("name", "added_by"),
        people=("made_by",), secret=("secret_hash", "previous_hash"),
    ),
    "accounts.ApiKey": Fate(
        "ended keys say who had a way in", owners=("organisation",), names=("name",),
        people=("made_by",), plain=("prefix", "scopes"), secret=("id", "hashed_key"),
    ),
    "accounts.Guesses": Fate(OWN_SWEEP, plain=("subject",)),
    "accounts.KnownPlace": Fate(
        OWN_SWEEP, owners=("person__organisation",), people=("person",), plain=("place",)
    ),
    "sessions.Session": Fate(OWN_SWEEP, secret=("session_key", "session_data")),
    "axes.AccessAttempt": Fate(
        "failed sign-ins", (DataKind.SIGN_INS,),
        names=("username", "ip_address", "user_agent", "http_accept", "path_info", "get_data",
               "post_data"),
    ),
    "axes.AccessAttemptExpiration": Fate("failed sign-ins", (DataKind.SIGN_INS,)),
    "axes.AccessFailureLog": Fate(
        "failed sign-ins", (DataKind.SIGN_INS,),
        names=("username", "ip_address", "user_agent", "http_accept", "path_info"),
    ),
    "axes.AccessLog": Fate(
        "failed sign-ins", (DataKind.SIGN_INS,),
        names=("username", "ip_address", "user_agent", "http_accept", "path_info", "session_hash"),
    ),
    "admin.LogEntry": Fate(
        "what the operator changed", (DataKind.OPERATOR,), people=("user",),
        names=("object_repr", "change_message"), plain=("object_id",),
    ),
}  # fmt: skip

NOTICES: Mapping[str, Fate] = {
    "notifications.Endpoint": Fate(
        ACCOUNT, owners=("organisation",), names=("address", "description", "state_reason"),
        plain=("event_types",), secret=("secret", "old_secret"),
    ),
    "notifications.Event": Fate(
        "notices", (DataKind.NOTICES,), owners=("dealer", "workshop"), names=("body", "also_to"),
        plain=("type", "also_types", "trace"), secret=("letter",),
    ),
    "notifications.Delivery": Fate(
        "goes with its notice", (DataKind.NOTICES,), owners=("endpoint__organisation",),
        names=("last_error",),
    ),
    "notifications.Attempt": Fate(
        "attempts", (DataKind.ATTEMPTS,), owners=("delivery__endpoint__organisation",),
        names=("answer", "error"),
    ),
    "notifications.FeedEnd": Fate("one number, which never starts again"),
    "notifications.FeedStart": Fate("up to where a feed is gone", owners=("organisation",)),
}  # fmt: skip

OTHERS: Mapping[str, Fate] = {
    "core.IdempotentAnswer": Fate(
        "goes by the hourly sweep of core", owners=("organisation_id",),
        plain=("key", "fingerprint"), secret=("headers", "body"),
    ),
    "core.Sweep": Fate("one row a sweep", plain=("name",)),
    "core.KeyProof": Fate("one row", secret=("sealed",)),
    "core.Epoch": Fate("one row, when a backup was brought back"),
    "retention.Removal": Fate("the record of what went; no names", plain=("place",)),
    "auth.Group": Fate(OF_A_LIBRARY, plain=("name",)),
    "auth.Group_permissions": Fate(OF_A_LIBRARY),
    "auth.Permission": Fate(OF_A_LIBRARY, plain=("name", "codename")),
    "contenttypes.ContentType": Fate(OF_A_LIBRARY, plain=("app_label", "model")),
    "rest_framework_api_key.APIKey": Fate(
        "always empty: accounts.ApiKey is ours", plain=("id", "prefix", "hashed_key", "name")
    ),
}  # fmt: skip

FATES: Mapping[str, Fate] = {**CARS, **PLACES, **ACCOUNTS, **NOTICES, **OTHERS}
