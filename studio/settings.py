"""The one settings module. What differs from place to place comes from `studio.environment`;
what a manager may change is data on screen and not here.
"""

from urllib.parse import urlsplit

import environ
from csp.constants import NONE, SELF

from studio.broker import cache_url, celery_url
from studio.environment import demo_secret_key, read_environment
from studio.log_lines import logging_settings

ENVIRONMENT = read_environment()
HOME = ENVIRONMENT.home
HOME.mkdir(parents=True, exist_ok=True)
IS_DEMO = ENVIRONMENT.is_demo

# --- Who answers, and under which address ---------------------------------------------------
SECRET_KEY = ENVIRONMENT["SECRET_KEY"] or demo_secret_key(HOME)
DEBUG = ENVIRONMENT["DEBUG"]
PUBLIC_URL = ENVIRONMENT["PUBLIC_URL"] or "http://localhost:8000"
ALLOWED_HOSTS = ENVIRONMENT["ALLOWED_HOSTS"] or ["localhost", "127.0.0.1", "[::1]"]
_public = urlsplit(PUBLIC_URL)
_is_https = _public.scheme == "https"

ROOT_URLCONF = "studio.urls"
WSGI_APPLICATION = "studio.wsgi.application"
AUTH_USER_MODEL = "studio.Person"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    # Ours come before the libraries, so that our templates win over theirs.
    "studio",
    "firings",
    "billing",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "allauth",
    "allauth.account",
    "django_htmx",
    "csp",
]

MIDDLEWARE = [
    "studio.pages.request_mark.RequestMarkMiddleware",
    "studio.pages.health.ProbeMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "studio.pages.upload_limit.UploadLimitMiddleware",
    "studio.pages.readable_query.ReadableQueryMiddleware",
    "studio.pages.not_kept.NotKeptMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "studio.pages.refusal_answers.RefusalMiddleware",
]

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "studio.pages.context.page_context",
            ],
        },
    },
]

# --- Safety of pages ------------------------------------------------------------------------
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "img-src": [SELF, "data:"],
        "object-src": [NONE],
        "base-uri": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    },
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SECURE_SSL_REDIRECT = _is_https
SECURE_HSTS_SECONDS = ENVIRONMENT["HSTS_SECONDS"] if _is_https else 0
SESSION_COOKIE_SECURE = _is_https
CSRF_COOKIE_SECURE = _is_https
# By this prefix browsers promise that no neighbour under our domain can plant the cookie
# (RFC 6265bis, 4.1.3.2); it needs https.
_prefix = "__Host-" if _is_https else ""
SESSION_COOKIE_NAME = f"{_prefix}sessionid"
CSRF_COOKIE_NAME = f"{_prefix}csrftoken"
CSRF_TRUSTED_ORIGINS = [PUBLIC_URL]
if ENVIRONMENT["PROXY_COUNT"]:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
SILENCED_SYSTEM_CHECKS = [
    "security.W005",  # a studio may share its domain with sites that have no https
    "security.W021",  # and so cannot promise a browser's preload list anything
]

# A request above UPLOAD_BYTES_MAX is refused before it is read (studio.pages.upload_limit).
UPLOAD_BYTES_MAX = 25 * 1024 * 1024
# A kiln's log of a million lines; it goes to a file as it comes and is read piece by piece.
UPLOAD_BYTES_MAX_AT = {r"(?:/api/v1)?/firings/\d+/log/(?:preview/)?": 121 * 1024 * 1024}
DATA_UPLOAD_MAX_MEMORY_SIZE = UPLOAD_BYTES_MAX
FILE_UPLOAD_MAX_MEMORY_SIZE = 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2000

# --- Signing in -----------------------------------------------------------------------------
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "account_login"
ACCOUNT_ADAPTER = "studio.pages.adapter.StudioAccountAdapter"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*", "password2*"]
# A person joins through a link sent to their address, which has shown that it is theirs.
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False
# The sender says which studio writes; a host name before the subject says nothing to a potter.
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
ACCOUNT_SESSION_REMEMBER = True
ACCOUNT_DEFAULT_HTTP_PROTOCOL = _public.scheme
ACCOUNT_RATE_LIMITS = {
    "login": "30/m/ip",
    "login_failed": "10/m/ip,5/300s/key",
    "reset_password": "20/m/ip,5/h/key",
    "reset_password_from_key": "20/m/ip",
    "change_password": "5/m/user",
}
ALLAUTH_TRUSTED_PROXY_COUNT = ENVIRONMENT["PROXY_COUNT"]
SESSION_COOKIE_AGE = 60 * 60 * 24 * 30

# --- Database -------------------------------------------------------------------------------
if ENVIRONMENT["DATABASE_URL"]:
    _database = environ.Env.db_url_config(ENVIRONMENT["DATABASE_URL"])
else:
    _database = {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": str(HOME / "studio.sqlite3"),
    }
if _database["ENGINE"] == "django.db.backends.sqlite3":
    # IMMEDIATE: a transaction that reads before it writes would otherwise fail, not wait.
    # FULL: a posted entry survives a power cut; the demo has nothing to lose and starts sooner.
    _synchronous = "NORMAL" if IS_DEMO else "FULL"
    _database["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": f"PRAGMA journal_mode=WAL; PRAGMA synchronous={_synchronous};",
    }
else:
    _options = _database.get("OPTIONS", {})
    # ?host=/folder&port= names a socket; pg_dump and psql are told of it by HOST and PORT.
    _database["HOST"] = _options.pop("host", _database["HOST"])
    _database["PORT"] = str(_options.pop("port", _database["PORT"]))
    # The pool would wait 30 s for a server that is gone, and try less and less often for 5 minutes:
    # waiting visitors take every thread, /healthz is late, and a watcher kills what is alive.
    _pool = {"min_size": 1, "max_size": 8, "timeout": 3, "reconnect_timeout": 5}
    _database["OPTIONS"] = {**_options, "pool": _pool}
    _database["CONN_HEALTH_CHECKS"] = True
DATABASES = {"default": _database}

# Counters of the rate limits must be shared by all web processes, so they sit in the broker.
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": cache_url(ENVIRONMENT["REDIS_URL"], HOME),
        "KEY_PREFIX": "wareboard",
        "OPTIONS": {"socket_connect_timeout": 2, "socket_timeout": 5},
    },
}

MQTT_URL = ENVIRONMENT["MQTT_URL"]

# --- Tasks ----------------------------------------------------------------------------------
CELERY_BROKER_URL = celery_url(ENVIRONMENT["REDIS_URL"], HOME)
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_IGNORE_RESULT = True
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 60,
    # kombu looks for abandoned messages every interval x throttle seconds; its default is 100.
    "unacked_restore_interval": 5,
    "unacked_restore_throttle": 1,
    # For who sends: one try. kombu would try for two seconds, for each notice of a deed.
    "max_retries": 0,
}
CELERY_TASK_TIME_LIMIT = 50  # below the visibility timeout, or a slow task runs twice
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_CONNECTION_MAX_RETRIES = None  # a worker waits for its broker, however long
CELERY_BROKER_CONNECTION_TIMEOUT = 2
# A nudge that cannot be sent must not hold up a page: the outbox is swept anyway.
CELERY_TASK_PUBLISH_RETRY_POLICY = {"max_retries": 1, "interval_start": 0.1}
CELERY_WORKER_CONCURRENCY = ENVIRONMENT["WORKER_PROCESSES"]
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE_FILENAME = str(HOME / "beat-schedule")
CELERY_BEAT_SCHEDULE = {
    "deliver due notices": {
        "task": "studio.tasks.deliver_due_notices",
        "schedule": 15.0,
        "options": {"expires": 15},
    },
    "forecast queues that changed": {
        "task": "firings.tasks.forecast_queues",
        "schedule": 60.0,
        "options": {"expires": 60},
    },
    "look for kilns that fell silent": {
        "task": "firings.tasks.watch_silent_kilns",
        "schedule": 60.0,
        "options": {"expires": 60},
    },
    "ask crew to look at kilns nobody hears of": {
        "task": "firings.tasks.ask_crew_to_look",
        "schedule": 60.0 * 5,
        "options": {"expires": 60 * 5},
    },
    "remind of ware to collect": {
        "task": "firings.tasks.remind_pick_ups",
        "schedule": 60.0 * 60,
        "options": {"expires": 60 * 60},
    },
}

# --- Mail -----------------------------------------------------------------------------------
if ENVIRONMENT["EMAIL_URL"]:
    vars().update(environ.Env.email_url_config(ENVIRONMENT["EMAIL_URL"]))
    EMAIL_TIMEOUT = 20
else:
    EMAIL_BACKEND = "studio.channels.email.mailbox.MailboxBackend"
DEFAULT_FROM_EMAIL = ENVIRONMENT["MAIL_FROM"] or f"wareboard@{_public.hostname}"
SERVER_EMAIL = DEFAULT_FROM_EMAIL

# --- Language, time, files ------------------------------------------------------------------
LANGUAGE_CODE = "en"
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "/static/"
STATIC_ROOT = HOME / "static"
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.AppDirectoriesFinder",
    "studio.pages.chart_files.ChartFilesFinder",
]
MEDIA_ROOT = HOME / "media"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}

# --- API ------------------------------------------------------------------------------------
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "studio.api.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": [
        "studio.api.json_body.JsonBodyParser",
        "rest_framework.parsers.FormParser",
        "rest_framework.parsers.MultiPartParser",
    ],
    "DEFAULT_PAGINATION_CLASS": "studio.api.pagination.Pagination",
    "PAGE_SIZE": 50,
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_THROTTLE_RATES": {"kiln_token": "240/min"},  # studio.api.throttles
    "NUM_PROXIES": ENVIRONMENT["PROXY_COUNT"] or None,
    "EXCEPTION_HANDLER": "studio.api.errors.answer",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Wareboard",
    "DESCRIPTION": "Everything the pages of Wareboard do, for programs. Quantities carry their"
    " unit in the field's name; money is in integer minor units; times are UTC.",
    "VERSION": "1.0.0",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    "SCHEMA_PATH_PREFIX": r"/api/v1",
    "COMPONENT_SPLIT_REQUEST": True,
    # Two lists of the same units, worded for a person's own choice and for the studio's.
    "ENUM_NAME_OVERRIDES": {
        "LengthUnitEnum": "studio.models.people.LENGTH_UNITS",
        # Choices that several fields share, or that share their field's name with others.
        "AlarmKindEnum": "firings.models.AlarmKind",
        "BookingStateEnum": "firings.models.BookingState",
        "CareKindEnum": "firings.models.CareKind",
        "ChargeKindEnum": "billing.models.ChargeKind",
        "ConeEnum": "firings.api.kiln_serializers.CONE_CHOICES",
        "ConePositionEnum": "firings.models.ConePosition",
        "ConeRoleEnum": "firings.models.ConeRole",
        "DeclineReasonEnum": "firings.models.DeclineReason",
        "FiringStateEnum": "firings.models.FiringState",
        "FootprintShapeEnum": "firings.models.FootprintShape",
        "KilnStateEnum": "firings.models.KilnState",
        "MembershipKindEnum": "billing.models.MembershipKind",
        "NoticeStateEnum": "studio.models.NoticeState",
        "PartKindEnum": "firings.models.PartKind",
        "ShelfShapeEnum": "firings.models.ShelfShape",
        "StepKindEnum": "billing.models.StepKind",
    },
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
}

# --- Watching it run ------------------------------------------------------------------------
METRICS_TOKEN = ENVIRONMENT["METRICS_TOKEN"]
LOGGING = logging_settings(ENVIRONMENT["LOG_LEVEL"], as_json=not IS_DEMO)
