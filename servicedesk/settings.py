"""All settings, read from the environment; without any, one process on SQLite."""

import logging
import os
from contextlib import suppress
from pathlib import Path

import environ
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from kombu import Queue

from shared.tiles import tile_source

env = environ.Env()

BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = Path(env.str("VAR_DIR", default=str(BASE_DIR / "var")))
VAR_DIR.mkdir(parents=True, exist_ok=True)

# What is reckoned is small: to share a matrix of some hundred numbers among the cores costs twice the
# processor and gains nothing. To be said before numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

PRODUCTION = env.bool("PRODUCTION", default=False)
DEBUG = env.bool("DEBUG", default=False)


def _kept_secret() -> str:
    """The key of a desk that was never given one, made once and kept beside its data."""
    from django.core.management.utils import get_random_secret_key

    path = VAR_DIR / "secret_key"
    if not path.exists():
        # Linked into place whole: of two processes that start together the first one's key is both's.
        mine = VAR_DIR / f"secret_key.{os.getpid()}"
        mine.touch(mode=0o600)
        mine.write_text(get_random_secret_key() + get_random_secret_key())
        with suppress(FileExistsError):
            os.link(mine, path)
        mine.unlink()
    return path.read_text().strip()


SECRET_KEY = env.str("SECRET_KEY", default="") or _kept_secret()
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=["127.0.0.1", "localhost", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])
# The address that mails and calendars point to.
SITE_URL = env.str("SITE_URL", default=f"http://127.0.0.1:{env.str('PORT', default='8000')}").rstrip("/")

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.humanize",
    "django.contrib.messages",
    "django.contrib.sessions",
    "django.contrib.staticfiles",
    "simple_history",
    "django_htmx",
    "csp",
    "js_lib_leaflet",
    "servicedesk",
    "schedules",
    "equipment",
]

MIDDLEWARE = [
    "servicedesk.metrics.requests.MetricsMiddleware",
    "servicedesk.log_ids.RequestIdMiddleware",
    "servicedesk.slow_requests.SlowRequestsMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "django.middleware.gzip.GZipMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "servicedesk.asked_by_machines.AskedByMachinesMiddleware",
    "servicedesk.rows_of_request.RowsOfRequestMiddleware",
    "servicedesk.same_for_all.SameForAllMiddleware",
    "csp.middleware.CSPMiddleware",
    "servicedesk.upload_limit.UploadLimitMiddleware",
    "servicedesk.wrong_tries.WrongTriesMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "servicedesk.log_ids.UserOfLogMiddleware",
    "servicedesk.no_copies.NoCopiesMiddleware",
    "servicedesk.page_language.PageLanguageMiddleware",
    "servicedesk.second_factor.SecondFactorMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "simple_history.middleware.HistoryRequestMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "servicedesk.local_time.LocalTimeMiddleware",
    "servicedesk.bearer.BearerMiddleware",
    "servicedesk.access.AccessMiddleware",
]

ROOT_URLCONF = "servicedesk.urls"
WSGI_APPLICATION = "servicedesk.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "servicedesk.context.desk",
            ],
        },
    },
]

DATABASES = {"default": env.db_url("DATABASE_URL", default=f"sqlite:///{VAR_DIR / 'desk.sqlite3'}")}
if not DATABASES["default"].get("ENGINE"):
    raise ImproperlyConfigured("DATABASE_URL begins neither with sqlite:// nor with postgres://.")


def _made_private(name: str) -> None:
    """SQLite makes its file readable to all; one that is there keeps its rights, and its log has the same."""
    path = Path(name)
    if not name.startswith((":memory:", "file:")) and path.parent.is_dir() and not path.exists():
        # Where it cannot be written the first query says so.
        with suppress(OSError):
            path.touch(mode=0o600)


if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    _made_private(str(DATABASES["default"]["NAME"]))
    # In a file: threads that share a database in memory lock each other's tables, and nothing waits for that.
    DATABASES["default"]["TEST"] = {"NAME": str(VAR_DIR / "test.sqlite3")}
    DATABASES["default"]["OPTIONS"] = {
        "timeout": 20,
        "transaction_mode": "IMMEDIATE",
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON",
    }
else:
    DATABASES["default"]["CONN_MAX_AGE"] = env.int("CONN_MAX_AGE", default=60)
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
    # A machine that is gone says nothing: without an end, whoever asks would wait for minutes.
    DATABASES["default"].setdefault("OPTIONS", {}).setdefault("connect_timeout", 10)
# Whether a process that starts to serve migrates first; else it ends where a migration is missing.
MIGRATE_AT_START = env.bool("MIGRATE_AT_START", default=True)
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "equipment.User"
AUTHENTICATION_BACKENDS = [
    "sesame.backends.ModelBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in ("UserAttributeSimilarityValidator", "MinimumLengthValidator", "CommonPasswordValidator")
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "start"
SESAME_MAX_AGE = 60 * 60 * 24
SESAME_ONE_TIME = False
SESAME_INVALIDATE_ON_PASSWORD_CHANGE = True

LANGUAGE_CODE = "en"
# A language is offered once its texts for households are whole; a household's own stays on record until then.
# Each by its own name, for whoever looks for it.
LANGUAGES = [("en", "English"), ("es", "Español")]
FORMAT_MODULE_PATH = "servicedesk.formats"
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "static/"
STATIC_ROOT = VAR_DIR / "static"
STATIC_ROOT.mkdir(exist_ok=True)
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedStaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = DEBUG

# Without EMAIL_URL outgoing mail is kept where the desk's mail page shows it.
_email_url = env.str("EMAIL_URL", default="")
OUTGOING_MAIL_IS_KEPT = not _email_url
vars().update(environ.Env.email_url_config(_email_url or "dummymail://"))
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = env.str("DEFAULT_FROM_EMAIL", default="filters@desk.invalid")

# Letters are signed by DKIM where all three are given.
DKIM_SELECTOR, DKIM_DOMAIN = env.str("DKIM_SELECTOR", default=""), env.str("DKIM_DOMAIN", default="")
DKIM_KEY_FILE = env.str("DKIM_KEY_FILE", default="")
# Text messages are posted there as JSON; empty: none go out. Answers come in with the same secret.
TEXTS_URL, TEXTS_SECRET = env.str("TEXTS_URL", default=""), env.str("TEXTS_SECRET", default="")

CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.locmem.LocMemCache",
        # Else whoever comes from many addresses has what is counted of others forgotten.
        "OPTIONS": {"MAX_ENTRIES": 200_000},
    }
}
# How many proxies stand before it, each of which adds to X-Forwarded-For whom it heard.
PROXIES = env.int("PROXIES", default=1 if PRODUCTION else 0)
# For how many days what is known of people is kept; nought: for ever. The building's record has no end.
KEEP_DAYS = {
    "letters": env.int("KEEP_LETTERS_DAYS", default=1095),
    "answers": env.int("KEEP_ANSWERS_DAYS", default=1095),
    "phone_entries": env.int("KEEP_PHONE_ENTRIES_DAYS", default=730),
    "photographs": env.int("KEEP_PHOTOGRAPHS_DAYS", default=1825),
    "plans_of_rounds": env.int("KEEP_ROUNDS_DAYS", default=400),
    "runtime_before": env.int("KEEP_RUNTIME_BEFORE_DAYS", default=400),
    "dates_before": env.int("KEEP_DATES_BEFORE_DAYS", default=400),
    "people_gone": env.int("KEEP_PEOPLE_GONE_DAYS", default=730),
}
if min(KEEP_DAYS.values()) < 0:
    raise ImproperlyConfigured("KEEP_..._DAYS: so many days that are kept cannot be below nought.")

# Where the daily archives lie (keep_archives); empty: nowhere.
BACKUP_DIR = env.str("BACKUP_DIR", default="")

# From so many filters on a new day is worked out part by part, so many homes a part (schedules/night.py).
LARGE_DESK_FILTERS = env.int("LARGE_DESK_FILTERS", default=20_000)
NIGHT_PART_HOMES = env.int("NIGHT_PART_HOMES", default=4000)

REDIS_URL = env.str("REDIS_URL", default="")
# A table server of the open kind for travel times; empty: reckoned as the crow flies.
TRAVEL_URL = env("TRAVEL_URL", default="")
# Map tiles of the open kind, such as https://tiles.example.org/{z}/{x}/{y}.png, and whom to credit;
# empty: the map is drawn on bare paper.
TILES_URL = env.str("TILES_URL", default="")
TILES_CREDIT = env.str("TILES_CREDIT", default="")
try:
    _TILES = [source for source in [tile_source(TILES_URL)] if source]
except ValueError as error:
    raise ImproperlyConfigured(f"TILES_URL: {error}") from None
CELERY_BROKER_URL = REDIS_URL or "memory://localhost//"
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TIMEZONE = "UTC"
# The many parts of a large desk's night wait in a line of their own: nothing else queues behind them.
NIGHT_QUEUE = "night"
CELERY_TASK_ROUTES = {"schedules.tasks.do_night_part": {"queue": NIGHT_QUEUE}}
CELERY_TASK_QUEUES = [Queue("celery"), Queue(NIGHT_QUEUE)]
# Longer than the longest task, or the broker hands it out twice; short restore sweeps, or a
# killed worker's task waits minutes.
CELERY_BROKER_TRANSPORT_OPTIONS = (
    {"visibility_timeout": 3600, "unacked_restore_interval": 1, "unacked_restore_throttle": 1}
    if REDIS_URL
    else {"polling_interval": 0.05}
)


def _every(task: str, seconds: float) -> dict[str, object]:
    """A sweep that is dropped when the next one is due before a worker was free."""
    return {"task": f"schedules.tasks.{task}", "schedule": seconds, "options": {"expires": seconds}}


CELERY_BEAT_SCHEDULE = {
    "plan again what changed": _every("replan_changed", 5.0),
    "begin the night": _every("begin_night", 20.0),
    "hold readings to what was promised": _every("foretell_readings", 120.0),
    "set task days anew": _every("refresh_tasks", 900.0),
    "work out rounds": _every("work_out_rounds", 3.0),
    "work out seasons": _every("work_out_seasons", 5.0),
    "bring calendars up to date": _every("refresh_calendars", 60.0),
    "write due reminders": _every("write_reminders", 60.0),
    "write of visits": _every("write_visits", 60.0),
    "send the outbox": _every("send_outbox", 15.0),
    "forget uploads": _every("forget_uploads", 300.0),
    "forget what is old": _every("forget_old", 21600.0),
}

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:", *_TILES],
        "object-src": [NONE],
        "base-uri": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_AGE = 60 * 60 * 24 * 30
SESSION_COOKIE_HTTPONLY = True
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_500_000

# Asked by machines beside it, without anything to hide.
SECURE_REDIRECT_EXEMPT = [r"^alive/$", r"^ready/$"]
if PRODUCTION:
    SECURE_SSL_REDIRECT = env.bool("SECURE_SSL_REDIRECT", default=True)
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_HSTS_SECONDS = env.int("SECURE_HSTS_SECONDS", default=31_536_000)
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True

# Whoever shows it reads /metrics/; empty: nobody does, and nothing is counted.
METRICS_TOKEN = env.str("METRICS_TOKEN", default="")
if 0 < len(METRICS_TOKEN) < 20:
    raise ImproperlyConfigured("METRICS_TOKEN is too short: 20 characters that nobody can guess, at least.")
# A line for people, or "json": one object a line for machines.
LOG_FORMAT = env.str("LOG_FORMAT", default="line")
if LOG_FORMAT not in ("line", "json"):
    raise ImproperlyConfigured("LOG_FORMAT is either line or json.")
# Python's own warnings are plain lines else.
logging.captureWarnings(LOG_FORMAT == "json")
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {"format": "{asctime} {levelname} {name}{of}: {message}", "style": "{"},
        "json": {"()": "servicedesk.log_ids.JsonLines"},
    },
    "filters": {
        "no secrets": {"()": "servicedesk.log_filter.NoSecrets"},
        "ids": {"()": "servicedesk.log_ids.Ids"},
    },
    "handlers": {
        "console": {
            "class": "logging.StreamHandler",
            "formatter": LOG_FORMAT,
            "filters": ["no secrets", "ids"],
        }
    },
    "root": {"handlers": ["console"], "level": env.str("LOG_LEVEL", default="INFO")},
    "loggers": {"celery": {"level": "WARNING"}},
}
