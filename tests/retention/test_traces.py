"""What was deleted leaves no trace in the database's own files, where the database is a file."""

import pytest
from django.db import connection

from jobs.retention.services.people import contact_erase
from jobs.work.models import Job
from tests.api.steps import posted
from tests.retention.marked import PRIVATE
from tests.retention.reading import places_of
from tests.scene import make_scene


@pytest.mark.django_db(transaction=True)
def test_no_byte_of_it_is_left_in_the_file() -> None:
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL writes over deleted rows in its own time")
    scene = make_scene()
    dealer = scene.dealer_api()
    long = f"{PRIVATE} " * 2000  # of several pages
    posted(dealer, contact_name=f"{PRIVATE} Orrick", notes=long[:4000])
    on_disk = {place for place in places_of(PRIVATE) if "sqlite" in place}
    assert on_disk
    contact_erase(organisation=scene.dealer, words=[PRIVATE])
    assert places_of(PRIVATE) == set()
    assert Job.objects.get().contact_name == "(deleted) Orrick"
