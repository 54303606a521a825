"""Settings of the service; everything that differs between machines comes from the environment."""

import os
import secrets
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext_lazy as _

from orchard.config import caching, database, logs
from orchard.config.environment import with_files, with_password

ENVIRONMENT = with_files(os.environ)
BASE_DIR = Path(__file__).resolve().parents[2]
# What the service keeps for itself on this machine: its own PostgreSQL and its secret key. Git ignores it.
STATE_DIR = Path(os.environ.get("ORCHARD_FOLDER", BASE_DIR / ".orchard")).absolute()


def _switch(name: str) -> bool:
    return os.environ.get(name, "").strip().lower() in {"1", "true", "yes", "on"}


def _names(name: str, *, default: str) -> list[str]:
    return [part.strip() for part in os.environ.get(name, default).split(",") if part.strip()]


def _secret_key() -> str:
    """Return SECRET_KEY, or the key that this machine made for itself the first time."""
    if key := ENVIRONMENT.get("SECRET_KEY"):
        return key
    kept = STATE_DIR / "secret_key"
    try:
        if not kept.exists():
            _make_secret_key(kept)
        return kept.read_text().strip()
    except OSError as failure:
        raise ImproperlyConfigured(f"SECRET_KEY is not set, and none can be kept: {failure}.") from failure


def _make_secret_key(kept: Path) -> None:
    STATE_DIR.mkdir(parents=True, exist_ok=True)
    made = STATE_DIR / f"secret_key.{os.getpid()}"
    made.touch(mode=0o600)
    made.write_text(secrets.token_urlsafe(50))
    try:
        os.link(made, kept)  # of two processes that start at once the first one's key holds
    except FileExistsError:
        pass
    finally:
        made.unlink()


DEBUG = _switch("DEBUG")
SECRET_KEY = _secret_key()
ALLOWED_HOSTS = [
    *_names("ALLOWED_HOSTS", default="testserver"),
    *("localhost", "127.0.0.1", "[::1]"),  # this machine's own health checks
]
CSRF_TRUSTED_ORIGINS = _names("CSRF_TRUSTED_ORIGINS", default="")

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "drf_spectacular",
    "orchard.config",
    "orchard.api",
    "orchard.farms",
    "orchard.blocks",
    "orchard.crews",
    "orchard.inventory",
    "orchard.tasks",
    "orchard.web",
    "scheduling",
]

MIDDLEWARE = [
    "orchard.config.observing.observed",
    "orchard.api.spent.refused_at_the_door",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "orchard.farms.operators.operators_see_every_farm",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "orchard.web.policy.content_policy",
]

ROOT_URLCONF = "orchard.config.urls"
WSGI_APPLICATION = "orchard.config.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.template.context_processors.i18n",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]

DATABASES = database.connections(environment=ENVIRONMENT, folder=STATE_DIR / "postgres")
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "farms.Person"
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

# What closes an hour for spraying; `scheduling` stands above `orchard`, which may not import it.
SPRAY_WINDOWS = "scheduling.order_windows.of_order"
ORDER_PICTURE = "scheduling.pictures.of_order"  # its open hours, drawn
BLOCK_PICTURES = "scheduling.pictures.of_block"  # its forecast and its season, drawn
# Which wet spells could infect a block, and what rain has left of its last spray.
BLOCK_DISEASE = "scheduling.disease.of_block.of_block"

USE_TZ = True
TIME_ZONE = "UTC"
USE_I18N = True
LANGUAGE_CODE = "en"
LANGUAGES = [("en", _("English")), ("es", _("Spanish"))]
PAPER_FONTS = _names("PAPER_FONTS", default="")  # font files for letters that the ones on board lack
LOCALE_PATHS = [BASE_DIR / "orchard" / "web" / "locale"]

STATIC_URL = "static/"
STATIC_ROOT = os.environ.get("STATIC_ROOT")  # where `collectstatic` puts the files of an image
WHITENOISE_USE_FINDERS = not STATIC_ROOT  # one machine needs no collectstatic

# Behind a proxy that ends TLS: HTTPS=1 trusts its X-Forwarded-Proto and keeps cookies off plain http.
HTTPS = _switch("HTTPS")
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS else None
SECURE_SSL_REDIRECT = HTTPS
SECURE_REDIRECT_EXEMPT = [r"^(healthz|readyz|metrics)$"]
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
# What else is served below the same domain, and whether browsers learn of it beforehand, is not ours to say.
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_AGE = 14 * 86_400  # seconds; a phone in the field may be without a signal for days
X_FRAME_OPTIONS = "DENY"

REDIS_URL = with_password(ENVIRONMENT.get("REDIS_URL", ""), ENVIRONMENT.get("REDIS_PASSWORD"))
CACHES = caching.caches(redis_url=REDIS_URL)
# Without a broker jobs run where they are asked for. A message leaves the queue when its job has ended, and
# comes back when its worker is lost; the outbox counts the starts and sees that each effect is there once.
CELERY_BROKER_URL = REDIS_URL or "memory://"
CELERY_TASK_ALWAYS_EAGER = not REDIS_URL
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_TIME_LIMIT = 300  # seconds; below half the time after which Redis gives a message to another
CELERY_BROKER_TRANSPORT_OPTIONS = {"visibility_timeout": 900, "socket_connect_timeout": 5}
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BEAT_SCHEDULE = {
    # A sweep: workers hear of new events at once. It must not expire, since clocks may be hours apart.
    "relay the outbox": {"task": "scheduling.relay", "schedule": 2.0},
    "send webhooks": {"task": "scheduling.send_webhooks", "schedule": 2.0},
    "forecast buds": {"task": "scheduling.forecast_buds", "schedule": 21_600.0},
    "free what long holds keep": {"task": "scheduling.free_long_held", "schedule": 3600.0},
    "seal the audit": {"task": "scheduling.seal_audit", "schedule": 60.0},
    "forget old answers": {"task": "scheduling.forget_answers", "schedule": 86_400.0},
}
DATA_UPLOAD_MAX_MEMORY_SIZE = 1024 * 1024
CSRF_FAILURE_VIEW = "orchard.api.problems.csrf"
LOGIN_URL = "/sign-in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "/sign-in"

# Networks that webhooks may be sent to although they are not public, such as 10.1.0.0/16; none by default.
WEBHOOK_NETWORKS = _names("WEBHOOK_NETWORKS", default="")

HOLD_KEEPS_STOCK_DAYS = int(os.environ.get("HOLD_KEEPS_STOCK_DAYS", "14"))  # then others may have it
RATE_LIMIT_PER_MINUTE = int(os.environ.get("RATE_LIMIT_PER_MINUTE", "600"))  # a caller's; 0: no limit

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "orchard.farms.authentication.BearerToken",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": [],  # every endpoint asks the one table itself
    "DEFAULT_RENDERER_CLASSES": ["orchard.api.rendering.Json"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_SCHEMA_CLASS": "orchard.api.schema.EndpointSchema",
    "EXCEPTION_HANDLER": "orchard.api.problems.on_exception",
    "UNAUTHENTICATED_USER": None,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}

SPECTACULAR_SETTINGS = {
    "TITLE": "Orchard operations",
    "DESCRIPTION": (
        "Tank-mix checks, stock, crew work orders and records of a small orchard. Amounts are exact "
        "decimals as text with their unit. The label is the law: nothing here replaces it, local rules "
        "or a licensed adviser."
    ),
    "VERSION": "1.0.0",
    "OAS_VERSION": "3.1.1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "POSTPROCESSING_HOOKS": ["orchard.api.schema.as_the_code_does"],
    "AUTHENTICATION_WHITELIST": ["orchard.farms.authentication.BearerToken"],
}

LOGGING = logs.settings(os.environ.get("LOG_LEVEL", "WARNING"))
