"""Django's settings, read from the environment; README's table says what each variable does."""

import logging
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import dj_database_url

from core import local_keys
from core.env import Environment
from core.logs import logging_settings
from core.private_files import keep_private

BASE_DIR = Path(__file__).resolve().parent.parent
env = Environment()

# --- where things are kept -----------------------------------------------------------------
DATA_DIR = env.folder("SHUTLINE_DATA_DIR", "core.E022", BASE_DIR / "var")
keep_private(DATA_DIR)
# Where workers and beat of this machine note that they live.
ALIVE_DIR = env.folder("SHUTLINE_ALIVE_DIR", "core.E062", DATA_DIR / "alive")
DEBUG = env.flag("SHUTLINE_DEBUG", "core.E001")
# Said by docker-compose.yml: what is only fit for trying out is then refused, not warned of.
PRODUCTION = env.flag("SHUTLINE_PRODUCTION", "core.E064")
SECRET_KEY = env.text("SHUTLINE_SECRET_KEY") or local_keys.signing_key(DATA_DIR)
# Of these two, whether they were given: one that was made here is known on this machine only.
KEYS_GIVEN = bool(env.text("SHUTLINE_SECRET_KEY") and env.words("SHUTLINE_FIELD_KEYS"))
FIELD_KEYS = env.words("SHUTLINE_FIELD_KEYS") or [local_keys.field_key(DATA_DIR)]

# --- web -----------------------------------------------------------------------------------
ALLOWED_HOSTS = env.words("SHUTLINE_ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]")
PUBLIC_URL = env.url(
    "SHUTLINE_PUBLIC_URL", "core.E002", "http://127.0.0.1:8000", schemes=("http", "https")
).rstrip("/")
_OVER_TLS = PUBLIC_URL.startswith("https://")
CSRF_TRUSTED_ORIGINS = [PUBLIC_URL]
SESSION_COOKIE_SECURE = _OVER_TLS
CSRF_COOKIE_SECURE = _OVER_TLS
# Sent over TLS only. A month, so that whoever gives TLS up is not locked out for a year.
SECURE_HSTS_SECONDS = 30 * 24 * 3600 if _OVER_TLS else 0
SILENCED_SYSTEM_CHECKS = [
    # Said by core.W002 in one sentence, with the variable to set, where TLS is missing.
    "security.W004",
    "security.W012",
    "security.W016",
    # Hosts beside ours, and lists in browsers, are the affair of whoever owns the domain.
    "security.W005",
    "security.W021",
    # TLS ends at the proxy, and so does plain HTTP: a redirect here would go in circles behind a
    # proxy that does not say which of them it was asked by.
    "security.W008",
]
SESSION_COOKIE_SAMESITE = "Lax"
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if _OVER_TLS else None
X_FRAME_OPTIONS = "DENY"
CSRF_FAILURE_VIEW = "core.answers.csrf_failed"
ROOT_URLCONF = "core.urls"
WSGI_APPLICATION = "core.wsgi.application"
APPEND_SLASH = False
BODY_LIMIT_BYTES = 1024 * 1024
# What an upload of a photograph may bring; every other address keeps to BODY_LIMIT_BYTES.
PHOTO_LIMIT_BYTES = (
    1024 * 1024 * env.whole("SHUTLINE_PHOTO_LIMIT_MB", "core.E023", 20, low=1, high=200)
)
# The guard holds each address to its own limit; Django's must let the largest through.
DATA_UPLOAD_MAX_MEMORY_SIZE = max(BODY_LIMIT_BYTES, PHOTO_LIMIT_BYTES)
# In memory only: what a photograph was uploaded with, its place above all, reaches no disk.
FILE_UPLOAD_HANDLERS = ["django.core.files.uploadhandler.MemoryFileUploadHandler"]
FILE_UPLOAD_MAX_MEMORY_SIZE = DATA_UPLOAD_MAX_MEMORY_SIZE
# The proxies whose word on where a request comes from is taken, as networks.
TRUSTED_PROXIES = env.networks("SHUTLINE_TRUSTED_PROXIES", "core.E044")
WEB_PROCESSES = env.whole("SHUTLINE_WEB_PROCESSES", "core.E003", 1, low=1, high=256)
WEB_THREADS = env.whole("SHUTLINE_WEB_THREADS", "core.E004", 8, low=1, high=256)
# To PostgreSQL, of each web process at most; a thread beyond them waits for one that is free.
WEB_CONNECTIONS = env.whole("SHUTLINE_WEB_CONNECTIONS", "core.E063", WEB_THREADS, low=1, high=256)
STOP_SECONDS = env.whole("SHUTLINE_STOP_SECONDS", "core.E046", 10, low=10, high=300)
# How long a request may take to come: its headers, and then its body; also how long somebody may
# take nothing in of an answer, and how long a connection may stay open with nothing asked.
REQUEST_SECONDS = env.whole("SHUTLINE_REQUEST_SECONDS", "core.E040", 20, low=1, high=60)
# What bodies longer than 64 KiB may take together in each web process while they come.
BODIES_MEMORY_MB = max(
    env.whole("SHUTLINE_BODIES_MEMORY_MB", "core.E041", 256, low=16, high=65536),
    2 * PHOTO_LIMIT_BYTES // (1024 * 1024),
)
REQUESTS_PER_MINUTE = env.whole(
    "SHUTLINE_REQUESTS_PER_MINUTE", "core.E005", 1200, low=1, high=10_000_000
)
IDEMPOTENCY_HOURS = env.whole("SHUTLINE_IDEMPOTENCY_HOURS", "core.E006", 168, low=1, high=24 * 90)
# How many days each kind of data is kept; the app that deletes it says how few may do.
KEEP_DAYS = env.days(
    "SHUTLINE_KEEP_DAYS",
    "core.E050",
    {
        "personal": 365,
        "pictures": 730,
        "history": 2190,
        "readings": 730,
        "notices": 180,
        "attempts": 60,
        "imports": 30,
        "sign_ins": 90,
        "operator": 730,
        "mail": 30,
    },
)

INSTALLED_APPS = [
    "accounts.operator_site.OperatorPages",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "django_filters",
    "rest_framework_api_key",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "django_structlog",
    "axes",
    "django_htmx",
    "core.apps.CoreConfig",
    "accounts.apps.AccountsConfig",
    "notifications.apps.NotificationsConfig",
    "jobs.work.apps.WorkConfig",
    "jobs.retention.apps.RetentionConfig",
    "jobs.tablet.apps.TabletConfig",
    "jobs.desk.apps.DeskConfig",
    "jobs.dashboard.apps.DashboardConfig",
    "jobs.demo.apps.DemoConfig",
]
MIDDLEWARE = [
    "core.request_lines.RequestLineMiddleware",
    "core.numbers.NumbersMiddleware",
    "core.middleware.RequestGuardMiddleware",
    "core.pages.PagesGZipMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django.middleware.http.ConditionalGetMiddleware",
    "axes.middleware.AxesMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
]
TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "OPTIONS": {
            "loaders": [("django.template.loaders.cached.Loader", ["core.template_loader.Loader"])],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    }
]
STATIC_URL = "/static/"
WHITENOISE_USE_FINDERS = True  # no collecting step before the first start
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# --- database ------------------------------------------------------------------------------
DATABASE_URL = env.url(
    "DATABASE_URL",
    "core.E007",
    f"sqlite:///{DATA_DIR / 'shutline.sqlite3'}",
    schemes=("sqlite", "postgres", "postgresql"),
)
DATABASES: dict[str, Any] = {"default": dj_database_url.parse(DATABASE_URL)}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        # FULL: a notice that was promised survives a power cut, not only a crash.
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; "
        # What was deleted leaves nothing in the file.
        "PRAGMA secure_delete=ON;",
    }
else:
    DATABASES["default"]["CONN_MAX_AGE"] = 600
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
    # A server that has vanished is an error in seconds, not a web thread that hangs for minutes.
    # One that goes silent in the middle is noticed within a minute.
    DATABASES["default"]["OPTIONS"] = {
        "connect_timeout": 5,
        "keepalives_idle": 20,
        "keepalives_interval": 5,
        "keepalives_count": 4,
        "tcp_user_timeout": 40_000,
        **DATABASES["default"].get("OPTIONS", {}),
    }

# --- people --------------------------------------------------------------------------------
AUTH_USER_MODEL = "accounts.Person"
AUTHENTICATION_BACKENDS = [
    "accounts.guard.GuessGuard",
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = [
    "accounts.hashing.BoundedHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "/sign-in"
# What Django's authenticate() calls it, so that failures are counted under the person tried.
AXES_USERNAME_FORM_FIELD = "username"
AXES_FAILURE_LIMIT = 8
AXES_RESET_ON_SUCCESS = True
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_VERBOSE = False
AXES_CLIENT_STR_CALLABLE = "accounts.lockout.somebody"
AXES_CLIENT_IP_CALLABLE = "core.client_address.client_address"
AXES_DISABLE_ACCESS_LOG = True  # a row for each sign-in, kept for ever, that nobody reads
# Wrong ones in a quarter of an hour, beside the eight by one address for one person.
GUESSES_PER_ADDRESS = 40
GUESSES_PER_PERSON = 40
GUESSES_IN_ALL = 2000
AXES_LOCKOUT_CALLABLE = "accounts.lockout.answer_locked_out"

# --- language, place -----------------------------------------------------------------------
LANGUAGE_CODE = "en-gb"
TIME_ZONE = env.zone("SHUTLINE_TIME_ZONE", "core.E030", "Europe/London")
USE_TZ = True
CURRENCY = env.text("SHUTLINE_CURRENCY", "GBP")
MARK_REGION = env.text("SHUTLINE_MARK_REGION", "GB")

# --- queue ---------------------------------------------------------------------------------
CELERY_BROKER_URL = env.url(
    "CELERY_BROKER_URL",
    "core.E008",
    "filesystem://",
    schemes=("filesystem", "redis", "rediss"),
)
UNDO_SECONDS = env.whole("SHUTLINE_UNDO_SECONDS", "core.E045", 10, low=0, high=60)
# Of each queue: one may wait on a slow receiver, or be at long work, while the other goes on.
WORKER_PROCESSES = {
    "notices": env.whole("SHUTLINE_NOTICES_PROCESSES", "core.E060", 2, low=1, high=64),
    "work": env.whole("SHUTLINE_WORK_PROCESSES", "core.E061", 2, low=1, high=64),
}
SWEEP_SECONDS = env.whole("SHUTLINE_SWEEP_SECONDS", "core.E009", 5, low=1, high=300)

# --- notices -------------------------------------------------------------------------------
DELIVERY_TIMEOUT_SECONDS = env.whole(
    "SHUTLINE_DELIVERY_TIMEOUT_SECONDS", "core.E010", 20, low=1, high=30
)
DELIVERY_LEASE_SECONDS = env.whole(
    "SHUTLINE_DELIVERY_LEASE_SECONDS", "core.E011", 60, low=2, high=3600
)
DELIVERY_CONCURRENCY = env.whole(
    "SHUTLINE_DELIVERY_CONCURRENCY", "core.E012", 256, low=1, high=1000
)
ENDPOINT_CONCURRENCY = env.whole("SHUTLINE_ENDPOINT_CONCURRENCY", "core.E013", 8, low=1, high=100)
# The example schedule of Standard Webhooks 1.0.0: ten attempts in 75 h 35 min 05 s.
RETRY_SECONDS = env.seconds(
    "SHUTLINE_RETRY_SECONDS", "core.E014", "0,5,300,1800,7200,18000,36000,50400,72000,86400"
)
WARN_AFTER_HOURS = env.whole("SHUTLINE_WARN_AFTER_HOURS", "core.E015", 24, low=1, high=1000)
DISABLE_AFTER_HOURS = env.whole("SHUTLINE_DISABLE_AFTER_HOURS", "core.E016", 120, low=1, high=2000)
ALLOW_PLAIN_HTTP = env.flag("SHUTLINE_ALLOW_PLAIN_HTTP", "core.E017")
OPEN_NETWORKS = env.networks("SHUTLINE_OPEN_NETWORKS", "core.E018")

# --- photographs ---------------------------------------------------------------------------
# Longer than the retries of a notice, so that its links still lead somewhere when it arrives.
PHOTO_LINK_HOURS = env.whole("SHUTLINE_PHOTO_LINK_HOURS", "core.E024", 168, low=1, high=24 * 90)
STORAGES: dict[str, Any] = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    "photos": env.store("SHUTLINE_PHOTO_STORE", "core.E025", DATA_DIR / "photos"),
}

# --- e-mail --------------------------------------------------------------------------------
EMAIL_URL = env.url(
    "SHUTLINE_EMAIL_URL",
    "core.E019",
    f"file://{DATA_DIR / 'mail'}",
    schemes=("smtp", "smtp+tls", "smtps", "console", "file"),
)
_mail = urlsplit(EMAIL_URL)
DEFAULT_FROM_EMAIL = env.text("SHUTLINE_EMAIL_FROM", "Shutline <notices@localhost>")
EMAIL_TIMEOUT = DELIVERY_TIMEOUT_SECONDS
if _mail.scheme == "file":
    EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    EMAIL_FILE_PATH = _mail.path
elif _mail.scheme == "console":
    EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
else:
    EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    EMAIL_HOST = _mail.hostname or "localhost"
    EMAIL_PORT = _mail.port or {"smtps": 465, "smtp+tls": 587}.get(_mail.scheme, 25)
    EMAIL_HOST_USER = unquote(_mail.username or "")
    EMAIL_HOST_PASSWORD = unquote(_mail.password or "")
    EMAIL_USE_TLS = _mail.scheme == "smtp+tls"
    EMAIL_USE_SSL = _mail.scheme == "smtps"

# --- API -----------------------------------------------------------------------------------
REST_FRAMEWORK = {
    "DEFAULT_RENDERER_CLASSES": ["core.api.rendering.OrjsonRenderer"],
    "DEFAULT_PARSER_CLASSES": ["core.api.parsing.OrjsonParser"],
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "accounts.auth.KeyAuthentication",
        "accounts.auth.PersonAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["accounts.auth.CallerMayDoThis"],
    "DEFAULT_THROTTLE_CLASSES": ["accounts.api.throttling.CallerThrottle"],
    "DEFAULT_SCHEMA_CLASS": "core.api.schema.ProjectAutoSchema",
    "DEFAULT_PAGINATION_CLASS": "core.api.paging.CursorPages",
    "EXCEPTION_HANDLER": "core.api.errors.answer_exception",
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
    "URL_FORMAT_OVERRIDE": None,
}
SPECTACULAR_SETTINGS: dict[str, Any] = {
    "TITLE": "Shutline",
    "DESCRIPTION": (
        "Links dealers' stock systems with the valeter who prepares their cars. "
        "Post a work order, follow the car, and receive signed notices."
    ),
    "VERSION": "1.0.0",
    "OAS_VERSION": "3.1.1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_AUTHENTICATION": [],
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
    "COMPONENT_SPLIT_REQUEST": True,
    "COMPONENT_NO_READ_ONLY_REQUIRED": True,
    "SCHEMA_PATH_PREFIX": r"/api/v1",
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "ENUM_NAME_OVERRIDES": {},  # each app names its own: register_enum_names
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "core.api.schema.add_problem_schema",
        "notifications.api.schema.add_webhooks",
    ],
}

# --- logs, numbers -------------------------------------------------------------------------
LOG_FORMAT = env.choice("SHUTLINE_LOG_FORMAT", "core.E020", "json", allowed=("json", "plain"))
LOG_LEVEL = env.choice(
    "SHUTLINE_LOG_LEVEL", "core.E021", "INFO", allowed=("DEBUG", "INFO", "WARNING", "ERROR")
)
LOGGING = logging_settings(log_format=LOG_FORMAT, level=LOG_LEVEL)
DJANGO_STRUCTLOG_CELERY_ENABLED = True
# A line a task, when it has ended: not that it waits, nor that it begins.
DJANGO_STRUCTLOG_CELERY_TASK_START_LOG_LEVEL = logging.DEBUG
DJANGO_STRUCTLOG_CELERY_TASK_FAILURE_LOG_LEVEL = logging.ERROR
# /metrics has an address of its own. On the public one a proxy would make everybody a neighbour,
# so that there only the token counts; without a token it is not there.
METRICS_LISTEN = env.place("SHUTLINE_METRICS_LISTEN", "core.E042")
METRICS_NETWORKS = env.networks("SHUTLINE_METRICS_NETWORKS", "core.E043", "127.0.0.0/8,::1/128")
METRICS_TOKEN = env.text("SHUTLINE_METRICS_TOKEN")

env.refuse_unknown("core.E047")
BAD_SETTINGS = env.bad
