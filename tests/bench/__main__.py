"""`make bench`: measure the service against bare baselines, print and keep the table.

Needs PostgreSQL and Redis; exits 1 where a ratio is not met, 2 where a server is missing.
"""

import os
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def set_up() -> None:
    """Point the settings at a fresh database and a queue of the bench's own."""
    from tests.bench.database import make_fresh  # noqa: PLC0415
    from tests.servers import postgres_url, redis_url  # noqa: PLC0415

    postgres, redis = postgres_url(), redis_url()
    if postgres is None or redis is None:
        sys.stderr.write("The measurements need PostgreSQL and Redis at their standard ports.\n")
        sys.exit(2)
    long_work = ROOT / "var" / "bench" / "long_work"
    long_work.mkdir(parents=True, exist_ok=True)
    os.environ.update(
        TEST_LONG_WORK=str(long_work),
        DJANGO_SETTINGS_MODULE="tests.bench.settings",
        DATABASE_URL=make_fresh(postgres),
        CELERY_BROKER_URL=redis.rsplit("/", 1)[0] + "/9",
        SHUTLINE_DATA_DIR=str(ROOT / "var" / "bench"),
        SHUTLINE_ALLOW_PLAIN_HTTP="1",
        SHUTLINE_OPEN_NETWORKS="127.0.0.0/8",
        SHUTLINE_LOG_LEVEL="WARNING",
    )
    import django  # noqa: PLC0415
    from django.core.management import call_command  # noqa: PLC0415

    django.setup()
    call_command("migrate", verbosity=0)


def main() -> int:
    """Run everything and return the exit code."""
    set_up()
    from tests.bench import delivery, flow, learning, polls, report, scene, slow, web  # noqa: PLC0415

    bench = scene.make()
    web_ratios = web.measure(bench)
    poll_ratios = polls.measure(bench)
    slow_ratios = slow.measure(bench)
    delivery_ratios, delivery_waits = delivery.measure(bench)
    flow_ratios, flow_wait = flow.measure(bench)
    ratios = [
        *web_ratios,
        *poll_ratios,
        *slow_ratios,
        *delivery_ratios,
        *flow_ratios,
        *learning.measure(),
    ]
    waits = [*delivery_waits, flow_wait]
    text = report.table(ratios, waits)
    sys.stdout.write(f"{text}\n")
    report.keep(text)
    met = [*(ratio.met for ratio in ratios), *(wait.met for wait in waits)]
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())
