"""Celery's settings, read by `core.celery` when the first task or worker needs them."""

from django.conf import settings
from kombu import Queue

broker_url = settings.CELERY_BROKER_URL
broker_connection_retry_on_startup = True
broker_connection_max_retries = None
broker_connection_timeout = 2

if broker_url.startswith("filesystem:"):
    _folder = settings.DATA_DIR / "queue"
    for _name in ("messages", "control"):
        (_folder / _name).mkdir(parents=True, exist_ok=True)
    broker_transport_options = {
        "data_folder_in": str(_folder / "messages"),
        "data_folder_out": str(_folder / "messages"),
        "control_folder": str(_folder / "control"),
        "polling_interval": 0.05,
    }
else:
    broker_transport_options = {
        # Longer than any task may run, so that Redis never hands a running task out again.
        "visibility_timeout": 3600,
        "socket_connect_timeout": 1,
        "socket_timeout": 5,
    }

task_default_queue = "shutline"
task_queues = [Queue("shutline")]
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

worker_prefetch_multiplier = 1
worker_hijack_root_logger = False
worker_enable_remote_control = False
worker_send_task_events = False
timezone = "UTC"

beat_schedule_filename = str(settings.DATA_DIR / "beat")
beat_max_loop_interval = 1
beat_schedule = {
    "deliver-due": {
        "task": "notifications.tasks.deliver_due",
        "schedule": float(settings.SWEEP_SECONDS),
        "kwargs": {"sweep": True},
        # A sweep that nobody took in time is worth nothing: the next one does the same.
        "options": {"expires": settings.SWEEP_SECONDS},
    },
    "review-endpoints": {"task": "notifications.tasks.review_endpoints", "schedule": 60.0},
    "purge-idempotent-answers": {
        "task": "core.tasks.purge_idempotent_answers",
        "schedule": 3600.0,
    },
}
