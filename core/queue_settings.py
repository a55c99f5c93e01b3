"""Celery's settings, read by `core.celery` when the first task or worker needs them."""

from django.conf import settings
from kombu import Queue
from kombu.transport import TRANSPORT_ALIASES

from core.periodic import SCHEDULE
from core.queues import QUEUES, ROUTES, WORK

broker_url = settings.CELERY_BROKER_URL
worker_prefetch_multiplier = 1
broker_connection_retry_on_startup = True
broker_connection_max_retries = None
broker_connection_timeout = 2

if broker_url.startswith("filesystem:"):
    # kombu's own transport of this name loses a message now and then: see folder_queue.
    broker_url = "filesystem://localhost"
    TRANSPORT_ALIASES["filesystem"] = "core.serving.folder_queue:Transport"
    broker_transport_options = {
        "folder": str(settings.DATA_DIR / "queue"),
        "polling_interval": 0.05,
    }
    # The only worker of a queue may take a handful, and need not wait a poll for each.
    worker_prefetch_multiplier = 8
else:
    # kombu's own transport can leave a worker idle for good after Redis was away: see redis_queue.
    for scheme in ("redis", "rediss"):
        TRANSPORT_ALIASES[scheme] = "core.serving.redis_queue:Transport"
    broker_transport_options = {
        # Longer than any task may run, so that Redis never hands a running task out again.
        "visibility_timeout": 3600,
        "socket_connect_timeout": 1,
        "socket_timeout": 5,
    }

task_default_queue = WORK
task_queues = [Queue(name) for name in QUEUES]
task_routes = ROUTES  # each app adds its own to it
task_ignore_result = True
task_serializer = "json"
accept_content = ["json"]
task_time_limit = 300
# A wake-up is worth one short try: the sweep finds the work if the wake-up is lost.
task_publish_retry_policy = {
    "max_retries": 1,
    "interval_start": 0,
    "interval_step": 0.1,
    "interval_max": 0.2,
}

worker_hijack_root_logger = False
worker_enable_remote_control = False
worker_send_task_events = False
timezone = "UTC"

# Beat keeps no file: every entry is safe to run early or late, and no file can be damaged or stale.
beat_scheduler = "core.serving.notes:NotingScheduler"
beat_max_loop_interval = 1
beat_schedule = SCHEDULE  # each app adds its own to it
