"""Settings by environment. With no environment at all: SQLite, no broker, no DEBUG, localhost only.

Every variable read here stands in DEVELOPERS.md under "Environment".
"""

import os
import secrets
import tomllib
from pathlib import Path

import environ
import structlog

from config import api_docs

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()

DATA_DIR = Path(env("RILLBOOK_DATA_DIR", default=str(BASE_DIR / "var")))
DATA_DIR.mkdir(parents=True, exist_ok=True)

DEBUG = env.bool("RILLBOOK_DEBUG", default=False)
# True behind TLS: secure cookies, HSTS, redirect to https. Off for the embedded localhost default.
HTTPS = env.bool("RILLBOOK_HTTPS", default=False)


def _local_secret_key() -> str:
    """Read the key of this installation, making it on first use (the embedded default has no operator)."""
    path = DATA_DIR / "secret_key"
    try:
        # O_EXCL: of two processes starting together only one writes, the other reads.
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text().strip()
    with os.fdopen(descriptor, "w") as file:
        file.write(secrets.token_urlsafe(64))
    return path.read_text().strip()


SECRET_KEY = env("SECRET_KEY", default="") or _local_secret_key()
SECRET_KEY_FALLBACKS = env.list("SECRET_KEY_FALLBACKS", default=[])
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])
# Where links in mails and QR codes point to.
PUBLIC_URL = env("RILLBOOK_PUBLIC_URL", default="http://localhost:8000").rstrip("/")

# A road-routing server that speaks the OSRM HTTP API; empty: travel times are estimated from straight lines.
OSRM_URL = env("OSRM_URL", default="").rstrip("/")
OSRM_MAP_VERSION = env("OSRM_MAP_VERSION", default="1")
OSRM_MAX_TABLE = env.int("OSRM_MAX_TABLE", default=100)
OSRM_TIMEOUT_S = env.float("OSRM_TIMEOUT_S", default=5.0)

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.forms",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "js_lib_leaflet",
    "config.apps.ConfigApp",
    "sites.apps.SitesConfig",
    "scheduling.apps.SchedulingConfig",
    "jobs.apps.JobsConfig",
    "reports.apps.ReportsConfig",
]

MIDDLEWARE = [
    "config.middleware.RequestLogMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "config.middleware.ContentSecurityPolicyMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "sites.access.ClosedUnlessOpenedMiddleware",
    "config.middleware.FirmTimeZoneMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
ASGI_APPLICATION = "config.asgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "config" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "config.context.firm",
            ],
            "builtins": ["sites.templatetags.writing"],  # every page writes dates and numbers one way
        },
    },
]
FORM_RENDERER = "config.forms.RillbookRenderer"

# Database: PostgreSQL when DATABASE_URL says so, else SQLite. SQLite options are not optional: IMMEDIATE avoids
# "database is locked" on lock upgrades, FULL keeps an acknowledged phone sync through a power cut.
if env("DATABASE_URL", default=""):
    DATABASES = {"default": env.db("DATABASE_URL")}
    DATABASES["default"]["CONN_MAX_AGE"] = 60
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
else:
    DATABASES = {"default": {"ENGINE": "django.db.backends.sqlite3", "NAME": DATA_DIR / "rillbook.sqlite3"}}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": (
            "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;"
            "PRAGMA temp_store=MEMORY; PRAGMA cache_size=-20000;"
        ),
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# What watering asks of the service work, an app above it.
WATER_FAULTS = "jobs.queries.water_faults.water_faults"
WHO_GOES = "jobs.queries.who_goes.who_goes"

AUTH_USER_MODEL = "sites.User"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "login"

REDIS_URL = env("REDIS_URL", default="")
CACHES = {
    "default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": REDIS_URL}
    if REDIS_URL
    else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
}

# The database row is the queue; the broker is only a bell. With no broker the same tasks run in process.
CELERY_BROKER_URL = REDIS_URL or "memory://"
CELERY_TASK_ALWAYS_EAGER = not REDIS_URL
# What takes long then runs in a process of its own, so that no page waits for it.
COMMANDS_IN_OWN_PROCESS = not REDIS_URL
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_TIME_LIMIT = 900
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TIMEZONE = "UTC"

# Rung by `jobs` when somebody has changed the plan, so that the apps above look for what they have to do.
PLAN_CHANGED_TASKS = ["reports.tasks.tell_clients"]

EMAIL_CONFIG = env.email_url("EMAIL_URL", default="consolemail://")
vars().update(EMAIL_CONFIG)
if env("EMAIL_URL", default="").startswith("filemail") or not env("EMAIL_URL", default=""):
    # The default keeps every mail as a file a person can open, so that a demo can be looked at.
    EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    EMAIL_FILE_PATH = DATA_DIR / "mail"
DEFAULT_FROM_EMAIL = env("DEFAULT_FROM_EMAIL", default="office@rillbook.invalid")
EMAIL_TIMEOUT = 20
# Shared with the service that reports mail which came back; without it that door stays closed.
BOUNCE_SECRET = env("RILLBOOK_BOUNCE_SECRET", default="")

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_I18N = True
USE_TZ = True

STATIC_URL = "/static/"
STATIC_ROOT = BASE_DIR / "staticfiles"
STATICFILES_DIRS = [BASE_DIR / "config" / "static"]
MEDIA_ROOT = DATA_DIR / "media"
MEDIA_URL = "/media/"  # never served as such: photos and documents go through guarded views
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if DEBUG
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}
FILE_UPLOAD_PERMISSIONS = 0o640
DATA_UPLOAD_MAX_MEMORY_SIZE = 12 * 1024 * 1024

SESSION_COOKIE_AGE = 14 * 24 * 3600
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
if HTTPS:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_SSL_REDIRECT = True
    SECURE_REDIRECT_EXEMPT = [r"^healthz$", r"^readyz$"]  # probes come from inside, without TLS
    SECURE_HSTS_SECONDS = 31536000
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["rest_framework.authentication.SessionAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["sites.access.OpenToRoles"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_PAGINATION_CLASS": "rest_framework.pagination.LimitOffsetPagination",
    "PAGE_SIZE": 100,
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Rillbook",
    "DESCRIPTION": api_docs.DESCRIPTION,
    "POSTPROCESSING_HOOKS": ["drf_spectacular.hooks.postprocess_schema_enums", "config.api_docs.describe"],
    "VERSION": tomllib.loads((BASE_DIR / "pyproject.toml").read_text())["project"]["version"],
    "SERVE_INCLUDE_SCHEMA": False,
    "ENUM_NAME_OVERRIDES": {
        "SupplyKind": "sites.models.WaterSupply.Kind",
        "AssemblyKind": "sites.models.BackflowAssembly.Kind",
        "FigureOrigin": "sites.core.rulebook.choices.Origin.pairs",
        "VisitKind": "jobs.models.VisitKind",
        "FaultKind": "jobs.models.Fault.Kind",
        "DocumentKind": "reports.models.Document.Kind",
        "SaleUnit": "jobs.core.rulebook.SaleUnit.pairs",
    },
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
}

_log_renderer = structlog.dev.ConsoleRenderer(colors=False) if DEBUG else structlog.processors.JSONRenderer()
_log_steps: list[structlog.typing.Processor] = [
    structlog.contextvars.merge_contextvars,
    structlog.stdlib.add_log_level,
    structlog.stdlib.add_logger_name,
    structlog.processors.TimeStamper(fmt="iso", utc=True),
]
structlog.configure(
    processors=[*_log_steps, structlog.stdlib.ProcessorFormatter.wrap_for_formatter],
    logger_factory=structlog.stdlib.LoggerFactory(),
    cache_logger_on_first_use=True,
)
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "structured": {
            "()": structlog.stdlib.ProcessorFormatter,
            "foreign_pre_chain": _log_steps,
            "processors": [
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                structlog.processors.format_exc_info,
                _log_renderer,
            ],
        }
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "structured"}},
    "root": {"handlers": ["console"], "level": env("RILLBOOK_LOG_LEVEL", default="WARNING")},
    "loggers": {"rillbook": {"level": env("RILLBOOK_LOG_LEVEL", default="INFO")}},
}
