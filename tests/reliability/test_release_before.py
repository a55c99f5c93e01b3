"""The release before answers while the tables change under it, and after."""

from pathlib import Path

import psycopg
import pytest
from cryptography.fernet import Fernet
from django.db import connection

from tests.bench.rolling import Load, Release, Watch, unpack
from tests.patience import PATIENCE_SECONDS
from tests.reliability.service import ROOT, Service, clean_environment, wait_until
from tests.reliability.tables import lines
from tests.reliability.world import COMMON, own_servers
from tests.servers import release_before_problem

pytestmark = pytest.mark.servers
MARKED = "SELECT do_not_drive FROM jobs_job WHERE id = ANY(%s::uuid[])"


@pytest.mark.usefixtures("db")
def test_it_answers_while_the_tables_change_and_after_and_they_end_up_as_fresh_ones(
    tmp_path: Path,
) -> None:
    if problem := release_before_problem():
        pytest.skip(problem)
    with own_servers() as servers:
        settings = {
            **COMMON,
            **servers,
            "SHUTLINE_SECRET_KEY": "no secret to anybody, and long enough to be one",
            "SHUTLINE_FIELD_KEYS": Fernet.generate_key().decode(),
        }
        mine = {**clean_environment(), **settings, "SHUTLINE_DATA_DIR": str(tmp_path / "commands")}
        before = Release(unpack(tmp_path / "before"), mine)
        before.run("manage.py", "migrate", "--verbosity", "0")
        keys = before.found()
        after = Release(ROOT, {**mine, "PGAPPNAME": "migrate"})
        with Service(
            tmp_path / "service", "--port", "0", environment=settings, root=before.folder
        ) as service:
            service.wait_until_ready()
            watch = Watch(servers["DATABASE_URL"])
            with Load(service.url, keys) as load, watch.watching():
                wait_until(lambda: load.cars or load.failed, "a car sent before")
                migrating = after.start("manage.py", "migrate", "--verbosity", "0")
                migrating.communicate(timeout=PATIENCE_SECONDS)
                assert migrating.returncode == 0
                so_far = load.number
                wait_until(lambda: load.number > so_far + 2 or load.failed, "a car sent after")
            assert load.failed == []
            assert service.leader("web"), "it is the release before that answered"
        with psycopg.connect(servers["DATABASE_URL"]) as upgraded:
            marked = upgraded.execute(MARKED, [load.cars]).fetchall()
            assert marked == [(True,)] * len(load.cars), "it knows nothing of what it should write"
            found = lines(upgraded)
        fresh = connection.settings_dict
        with psycopg.connect(
            host=fresh["HOST"], port=fresh["PORT"] or None, dbname=fresh["NAME"],
            user=fresh["USER"] or None, password=fresh["PASSWORD"] or None,
        ) as made:  # fmt: skip
            assert found == lines(made)
        assert watch.samples > 0
