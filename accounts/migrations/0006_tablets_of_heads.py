"""End the tablets that nobody who may made, and let keys go on reading what they could read.

Until now anybody of a workshop could make a browser its tablet, so that some may be in the hands of
people who left. A tablet stays where exactly one person of the workshop is called what was written
down as its maker, and that person is an active owner or manager; every other is taken back, with
what is signed in there: making it one again takes an owner or manager a minute.

Workshops' keys with jobs.read could read /flow, and go on to. None gets forecast.write, though
those with jobs.work could choose the forecast's address: a new key with it is made by somebody who
may, once, and every other key is worth less to whoever finds it.
"""

from django.contrib.sessions.backends.db import SessionStore
from django.db import migrations

from core.clock import now

HEADS = ("owner", "manager")


def end_or_keep_tablets(apps, schema_editor):
    Device = apps.get_model("accounts", "Device")
    Person = apps.get_model("accounts", "Person")
    for device in Device.objects.filter(revoked_at=None):
        called = list(
            Person.objects.filter(organisation_id=device.workshop_id, name=device.added_by)[:2]
        )
        if len(called) == 1 and called[0].is_active and called[0].role in HEADS:
            Device.objects.filter(pk=device.pk).update(made_by=called[0])
        else:
            Device.objects.filter(pk=device.pk).update(revoked_at=now())
    ended = {str(pk) for pk in Device.objects.exclude(revoked_at=None).values_list("pk", flat=True)}
    if not ended:
        return
    Session = apps.get_model("sessions", "Session")
    begun_there = [
        session.pk
        for session in Session.objects.filter(expire_date__gt=now()).iterator()
        if SessionStore().decode(session.session_data).get("device") in ended
    ]
    Session.objects.filter(pk__in=begun_there).delete()


def let_keys_read_flow(apps, schema_editor):
    ApiKey = apps.get_model("accounts", "ApiKey")
    for key in ApiKey.objects.filter(organisation__kind="workshop"):
        if "jobs.read" in key.scopes and "flow.read" not in key.scopes:
            ApiKey.objects.filter(pk=key.pk).update(scopes=sorted([*key.scopes, "flow.read"]))


class Migration(migrations.Migration):

    # A row at a time; what broke off is done again from the beginning.
    atomic = False

    dependencies = [
        ("accounts", "0005_made_by"),
        ("sessions", "0001_initial"),
    ]

    operations = [
        migrations.RunPython(end_or_keep_tablets, migrations.RunPython.noop),
        migrations.RunPython(let_keys_read_flow, migrations.RunPython.noop),
    ]
