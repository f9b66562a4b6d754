"""The settings, all from the environment. With no variable set, an embedded copy runs on SQLite on this machine.

- ``DATABASE_URL``: ``postgres://…`` or ``sqlite:///…``; unset: SQLite in the data folder ("embedded")
- ``REDIS_URL``: ``redis://…`` for Celery workers; unset: no worker is told, the database keeps what is due
- ``SECRET_KEY``: needed where ``DATABASE_URL`` is set and ``DEBUG`` is off; else drawn once and kept
- ``ALLOWED_HOSTS``: host names, comma-separated; unset: this machine only
- ``HTTPS``: on where served over https: secure cookies, redirect, HSTS; default: on unless embedded or debug
- ``TRUSTED_ORIGINS``: origins behind a proxy, such as ``https://training.example``; comma-separated
- ``PROXY_SSL_HEADER``: on where a proxy of ours sets ``X-Forwarded-Proto`` and nobody can reach us around it
- ``NUM_PROXIES``: how many proxies of ours add to ``X-Forwarded-For``; default 0
- ``DEBUG``: off unless set
- ``DATA_DIR``: default ``.data`` in the project's folder: database, secret key, collected static files
- ``LEDGER_SIGNING_KEY``: an Ed25519 key (PEM, or 32 bytes in base64) that signs the ledger's checkpoints; unset:
  drawn once and kept where embedded
- ``EMAIL_URL``: ``smtp+tls://…``; unset: mail is written to files in the data folder where embedded or debug, and
  else waits: nothing is called sent that went nowhere; ``EMAIL_FROM``: the sender's address
- ``PUBLIC_ADDRESS``: where people reach this server, such as ``https://training.example``; stands in mails and
  calendars; unset: the first of ``TRUSTED_ORIGINS``
- ``SESSION_IDLE_MINUTES``: a session, and an API token, ends when it was not used for so long; default 120
- ``SESSION_HOURS``: how long one lasts at the most, however much it is used; default 12
- ``OPERATOR_SECOND_FACTOR``: on where whoever may use the admin site must have a second factor; default on
- ``OIDC_ISSUER``, ``OIDC_CLIENT_ID``, ``OIDC_CLIENT_SECRET``: the school's own OpenID Connect provider; unset: nobody
  signs in by one. ``OIDC_NAME``: what the button calls it; ``OIDC_SECOND_FACTOR``: values of ``amr`` or ``acr`` by
  which it says that it asked for a second factor, comma-separated; unset: the account's own second factor holds
- ``DEMO_RESET``: on where the beat puts a demo school back to its first day every night; needs ``DEMO_PASSWORD``
- ``LOG_LEVEL``: default ``INFO``; ``LOG_FORMAT``: ``json`` or ``lines``; default: json unless embedded or debug
- ``CLOCK_DRIFT_SECONDS``: reminders are held back while this clock is further off the database's; default 60
- ``CLOCK_GAP_DAYS``: the same where the last sweep was longer ago (0: never); default 30, and 0 where embedded
- ``WEB_WORKERS`` (2), ``WEB_THREADS`` (8), ``WORKER_CONCURRENCY`` (2): how much is done at once
- ``DATABASE_CONNECTIONS``: how many connections the role of web and worker may have; default 80
- ``DATABASE_ROLE``: that role, where the owner of the tables checks
- ``METRICS_TOKEN``: 20 characters or more that open ``/metrics`` and the details of ``/readyz``, sent as
  ``Authorization: Bearer …``; unset: they open to this machine itself, and to nobody where ``HTTPS`` is on
"""

import datetime as dt
import sys
from datetime import timedelta
from pathlib import Path

import environ
from csp.constants import NONE, SELF

from training.config.environment import (
    Connections,
    choice,
    data_folder,
    database,
    mail_refused,
    mail_server,
    openid_provider,
    secret_key,
    secret_word,
    switch,
    whole_number,
)
from training.config.logs import logging_settings
from training.config.sign_in import *  # noqa: F403  (settings)

env = environ.Env()

BASE_DIR = Path(__file__).resolve().parents[2]
DATA_DIR = data_folder(env, BASE_DIR)

EMBEDDED = not env.str("DATABASE_URL", default="")
DEBUG = switch(env, "DEBUG", default=False)
HTTPS = switch(env, "HTTPS", default=not (EMBEDDED or DEBUG))

SECRET_KEY = secret_key(env, DATA_DIR, embedded=EMBEDDED, debug=DEBUG)
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.list("TRUSTED_ORIGINS", default=[])

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.forms",
    "allauth.account",
    "allauth.mfa",
    "allauth.socialaccount",
    "allauth.socialaccount.providers.openid_connect",
    "allauth.usersessions",
    "rest_framework",
    "knox",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "csp",
    "training",
    "training.ledger",
    "syllabus",
    "api",
]

MIDDLEWARE = [
    "training.web.shared.requests.Noted",
    "csp.middleware.CSPMiddleware",  # before whatever answers by itself, so that every answer has the policy
    "django.middleware.security.SecurityMiddleware",
    "training.web.health.ByAnyName",
    "training.config.error_pages.EncryptedAPI",
    "training.web.shared.own_address.ByName",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "training.web.shared.sessions.Activity",
    "api.v1.base.slashes.EitherSlash",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "training.web.shared.own_schools.OwnSchools",
    "training.web.shared.language.OwnLanguage",
    "allauth.account.middleware.AccountMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "training.web.shared.second_factor.Required",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "training.web.shared.refusals.Refusals",
]

ROOT_URLCONF = "training.config.urls"
WSGI_APPLICATION = "training.config.wsgi.application"
ASGI_APPLICATION = "training.config.asgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "training" / "web" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "libraries": {"header": "training.web.shared.header", "law": "training.web.shared.law"},
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]
FORM_RENDERER = "training.web.shared.forms.Renderer"

# The database
DATABASES = {"default": database(env, DATA_DIR)}
# What all processes open together; ``check --deploy`` compares it with what the role may have.
CONNECTIONS = Connections.read(env)
DATABASE_ROLE = env.str("DATABASE_ROLE", default="")
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# The ledger's checkpoints: the key that signs them; an embedded copy draws one and keeps it.
LEDGER_SIGNING_KEY = env.str("LEDGER_SIGNING_KEY", default="")
LEDGER_KEY_FILE = DATA_DIR / "ledger-key" if EMBEDDED or DEBUG else None

# Days and hours: stored and compared in UTC; a local day is always derived from an airport's or a school's
# zone.
TIME_ZONE = "UTC"
USE_TZ = True
# Pages and mails: English, ready for translation. Another language is a folder in training/locale (makemessages,
# compilemessages) and a line here; nothing is built for English.
LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English")]
USE_I18N = True
FORMAT_MODULE_PATH = ["training.web.formats"]

# Who signs in, and how: training/config/sign_in.py.
OPERATOR_SECOND_FACTOR = switch(env, "OPERATOR_SECOND_FACTOR", default=True)

# Sign-in by the school's own provider.
PROVIDER = openid_provider(env)
OIDC_NAME: str = PROVIDER["OIDC_NAME"]
OIDC_SECOND_FACTOR: list[str] = PROVIDER["OIDC_SECOND_FACTOR"]
vars().update(PROVIDER)

# Cookies and transport
# Seconds. A lesson in the air takes less than two hours; then whoever picks up the tablet has to sign in. What
# was written meanwhile stays on the tablet. And a day at the airport at the most.
SESSION_COOKIE_AGE = 60 * whole_number(env, "SESSION_IDLE_MINUTES", default=120, least=5)
SESSION_LASTS = 60 * 60 * whole_number(env, "SESSION_HOURS", default=12, least=1)
# Behind https no other host of the domain, and no page over http, can set these in our place.
SESSION_COOKIE_NAME = "__Host-sessionid" if HTTPS else "sessionid"
CSRF_COOKIE_NAME = "__Host-csrftoken" if HTTPS else "csrftoken"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SECURE = HTTPS
SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS
SECURE_HSTS_PRELOAD = HTTPS
# For machines inside, which ask over http and get no record; and for the API, which refuses instead.
SECURE_REDIRECT_EXEMPT = [r"^(healthz|readyz|metrics)$", r"^api/(?!v1/docs/)"]
PROXY_SSL_HEADER = switch(env, "PROXY_SSL_HEADER", default=False)
if PROXY_SSL_HEADER:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
NUM_PROXIES = whole_number(env, "NUM_PROXIES", default=0)
#: Whether a proxy of ours stands before us: its headers are believed, and everybody seems to come from it.
BEHIND_OUR_PROXY = PROXY_SSL_HEADER or NUM_PROXIES > 0
METRICS_TOKEN = secret_word(env, "METRICS_TOKEN", least=20)

# Everything a page loads comes from this server; nothing is inline.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "object-src": [NONE],
        "base-uri": [NONE],
        # To a browser, a form that leads on to the provider is sent there.
        "form-action": [SELF, *PROVIDER["OIDC_ORIGINS"]],
        "frame-ancestors": [NONE],
    },
}

# A request is bounded: a record of 3,000 flights is under 2 MB.
DATA_UPLOAD_MAX_MEMORY_SIZE = 10 * 1024 * 1024  # bytes
DATA_UPLOAD_MAX_NUMBER_FIELDS = 1000

# Static files: named by content once collected; found in place before (a fresh checkout, the tests).
STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
STATIC_ROOT.mkdir(exist_ok=True)
# The first collecting writes the very file by which it is known.
COLLECTED = (STATIC_ROOT / "staticfiles.json").exists() or sys.argv[1:2] == ["collectstatic"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": (
            "whitenoise.storage.CompressedManifestStaticFilesStorage"
            if COLLECTED
            else "django.contrib.staticfiles.storage.StaticFilesStorage"
        ),
    },
}
STATICFILES_DIRS = [
    BASE_DIR / "training" / "web" / "static",
    # The README's pictures are those of the help pages.
    ("training/help", BASE_DIR / "fixtures" / "pictures"),
]
WHITENOISE_USE_FINDERS = not COLLECTED
WHITENOISE_ALLOW_ALL_ORIGINS = False  # no other site's script needs these files

PAGE_CACHE_TABLE, LIMITS_TABLE = "training_page_cache", "training_limits"
CACHES = {
    # What is counted against limits: shared by all workers, without another server than the database. An embedded
    # copy is one process.
    "default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
    if EMBEDDED
    else {
        "BACKEND": "training.services.limits.Backend",
        "LOCATION": LIMITS_TABLE,
    },
    # What each process may know for itself for a moment.
    "process": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "LOCATION": "process"},
    # Of students' pages: in the record's database, so that an erasure is one transaction with it.
    "pages": {
        "BACKEND": "training.services.signed_cache.SignedCache",
        "LOCATION": PAGE_CACHE_TABLE,
        "TIMEOUT": None,
    },
}

vars().update(mail_server(env, DATA_DIR))
#: What e-mail leaves by, and why it may not ("" where it may). Only the background jobs and the test mail use it.
MAIL_BACKEND = vars()["EMAIL_BACKEND"]
MAIL_REFUSED = mail_refused(env, MAIL_BACKEND, embedded=EMBEDDED or DEBUG)
#: Whatever sends e-mail in a request, allauth included, only writes it into the outbox.
EMAIL_BACKEND = "training.services.reminders.outgoing.Outbox"
EMAIL_TIMEOUT = 10  # seconds for each step of a mail server; a silent one holds nobody for ever
# Where people reach this server; stands in mails and calendars.
OWN_ADDRESS = "http://localhost:8000"
PUBLIC_ADDRESS = env.str("PUBLIC_ADDRESS", default="") or [*CSRF_TRUSTED_ORIGINS, OWN_ADDRESS][0]
PUBLIC_ADDRESS = PUBLIC_ADDRESS.rstrip("/")
DEFAULT_FROM_EMAIL = env.str("EMAIL_FROM", default="training-record@localhost")

# The REST API
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "knox.auth.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PAGINATION_CLASS": "rest_framework.pagination.CursorPagination",
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "api.v1.base.errors.handler",
    "PAGE_SIZE": 50,
    "COERCE_DECIMAL_TO_STRING": True,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
}
REST_KNOX = {
    "TOKEN_LIMIT_PER_USER": 20,
    # As a session: unused it ends as soon, and used it ends all the same.
    "TOKEN_TTL": dt.timedelta(seconds=SESSION_COOKIE_AGE),
    "AUTO_REFRESH": True,
    "AUTO_REFRESH_MAX_TTL": dt.timedelta(seconds=SESSION_LASTS),
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Student pilot training record",
    "DESCRIPTION": (
        "What a training record meets toward a milestone, what is missing, and on which days the answer "
        "holds. A training aid and record, not legal advice: the regulations in force, the instructor, the examiner "
        "and the authority decide."
    ),
    "VERSION": "1",
    "DEFAULT_GENERATOR_CLASS": "api.v1.base.description.Generator",
    "OAS_VERSION": "3.1.1",
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "COMPONENT_SPLIT_REQUEST": False,
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    # Names of sets of words that several components use, or that share a field's name with another set.
    "ENUM_NAME_OVERRIDES": {
        "GradeOfProficiencyEnum": "syllabus.engine.record.record.GRADES",
        "GradeEnum": ["describe", "explain", "practice", "perform", "not-observed"],
        "LessonRecordStateEnum": ["draft", "signed"],
        "CourseVersionStateEnum": ["draft", "published"],
        "AircraftClassEnum": "syllabus.engine.record.vocabulary.CLASSES",
        "AircraftCheckKindEnum": "syllabus.law.airworthiness.current",
        "MendEnum": "syllabus.engine.audit.audit.MENDS",
        "FindingKindEnum": "training.reports.audit_kinds.KINDS",
        "GroundingKindEnum": ["grounded", "defect"],
        "RequestKindEnum": ["lesson", "correction", "release"],
        "InstructorKindEnum": "syllabus.engine.record.vocabulary.INSTRUCTORS",
        "RoleEnum": ["instructor", "administrator", "student"],
        "InvitedRoleEnum": "training.services.people.invitations.ROLES",
        "ReminderKindEnum": "training.services.reminders.leads.DEFAULTS",
        "ClassOfMedicalEnum": "syllabus.engine.record.vocabulary.MEDICAL_CLASSES",
    },
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    # Each operation shows its own schemas; the list of all of them at the end made the page slow.
    "SWAGGER_UI_SETTINGS": {"deepLinking": True, "validatorUrl": None, "defaultModelsExpandDepth": -1},
}

# A demo that is open to the public is put back to its first day every night.
DEMO_RESET = switch(env, "DEMO_RESET", default=False)

# Background work: Celery only rings, the database knows what is due. So a lost broker loses no reminder.
REDIS_URL = env.str("REDIS_URL", default="")
CELERY_BROKER_URL = REDIS_URL or "memory://"
CELERY_TIMEZONE = "UTC"
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_RETRY_ON_WORKER_LOST = True
CELERY_TASK_IGNORE_RESULT = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_CONNECTION_MAX_RETRIES = None  # a worker waits for its broker as long as it takes
CELERY_TASK_TIME_LIMIT = 60  # seconds; the visibility timeout below stays above twice this
CELERY_TASK_SOFT_TIME_LIMIT = 45
CELERY_WORKER_SOFT_SHUTDOWN_TIMEOUT = 30
# A silent or refusing broker holds a request for well under a second.
CELERY_TASK_PUBLISH_RETRY_POLICY = {
    "max_retries": 0,
    "interval_start": 0,
    "interval_step": 0,
    "interval_max": 0,
}
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 120,
    # Looks for the work of a killed worker every 5 s; the defaults together come to 100 s.
    "unacked_restore_interval": 5,
    "unacked_restore_throttle": 1,
    "socket_timeout": 5,
    "socket_connect_timeout": 1,
    "socket_keepalive": True,
    "max_retries": 1,
    "interval_start": 0,
    "interval_step": 0.1,
    "interval_max": 0.2,
}

# Reminders and mails are held back while this clock is further off than this from the database's clock; and,
# until somebody says that the break was real, where the last sweep was longer ago than so many days (0: never).
CLOCK_DRIFT = timedelta(seconds=whole_number(env, "CLOCK_DRIFT_SECONDS", default=60))
CLOCK_GAP = timedelta(days=whole_number(env, "CLOCK_GAP_DAYS", default=0 if EMBEDDED else 30))

# One line for each event, to standard error. Names and records of students do not belong in a log.
LOGGING = logging_settings(
    choice(env, "LOG_FORMAT", "lines" if EMBEDDED or DEBUG else "json", "json", "lines"),
    choice(env, "LOG_LEVEL", "INFO", "DEBUG", "INFO", "WARNING", "ERROR", "CRITICAL"),
)
