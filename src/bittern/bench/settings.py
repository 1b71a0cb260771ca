"""Django's settings, from the environment alone; ``options.py`` lists and explains them."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

from csp.constants import NONE, SELF
from django.utils.functional import SimpleLazyObject

from bittern.bench import options

BENCH = Path(__file__).resolve().parent

BITTERN_DATA = options.read_path("BITTERN_DATA") or Path("var").absolute()
BITTERN_KEYS = options.read_path("BITTERN_KEYS")
BITTERN_PACK = options.read_path("BITTERN_PACK")
BITTERN_MACHINE = options.read_path("BITTERN_MACHINE")
BITTERN_ADAPTER = options.read_adapter()
BITTERN_ADAPTER_SPEED = options.read_adapter_speed()
HTTPS = options.read_flag("BITTERN_HTTPS")

DEBUG = False


def _read_secret() -> str:
    from bittern.bench.keys import get_secret_text

    return get_secret_text()


# Read at its first use: looking at the settings alone makes and needs no file.
SECRET_KEY: Any = SimpleLazyObject(_read_secret)

ALLOWED_HOSTS = options.read_hosts()
ROOT_URLCONF = "bittern.bench.urls"
WSGI_APPLICATION = "bittern.bench.wsgi.application"
INSTALLED_APPS = [
    "bittern.bench",
    "bittern.bench.people",
    "bittern.bench.jobs",
    "bittern.bench.packs",
    "bittern.bench.learning",
    "bittern.bench.readings",
    "bittern.bench.ladders",
    "bittern.bench.cuttings",
    "bittern.bench.carrying",
    "bittern.bench.rehearsals",
    "bittern.bench.runsheets",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_htmx",
    "csp",
    "axes",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "bittern.bench.headers.HeadersMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "bittern.bench.people.gate.GateMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
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
                "bittern.bench.people.context.add_person",
            ]
        },
    }
]

DATABASES = {"default": options.describe_database(BITTERN_DATA)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "people.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS: list[dict[str, Any]] = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("login", "name")},
    },
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "login"

# By name and not by address: a shop sits behind one address, and a guesser may have many.
AXES_LOCKOUT_PARAMETERS = ["username"]
AXES_USERNAME_FORM_FIELD = "username"
AXES_USERNAME_CALLABLE = "bittern.bench.people.lockout.find_login"
AXES_LOCKOUT_CALLABLE = "bittern.bench.people.lockout.show_lockout"
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_RESET_ON_SUCCESS = True
AXES_DISABLE_ACCESS_LOG = True
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False
# Of a failed attempt the name is kept, and none of the passwords that were sent with it.
AXES_SENSITIVE_PARAMETERS = ["username", "ip_address", "old_password", "new_password1", "new_password2"]

SESSION_COOKIE_AGE = options.read_whole("BITTERN_SESSION_HOURS", 1, 720) * 3600
SESSION_COOKIE_NAME = "bittern-session"
CSRF_COOKIE_NAME = "bittern-csrf"
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Strict"
CSRF_TRUSTED_ORIGINS = [f"https://{host}" for host in ALLOWED_HOSTS] if HTTPS else []
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "object-src": [NONE],
        "frame-ancestors": [NONE],
    }
}
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
SECURE_HSTS_SECONDS = 30 * 24 * 3600 if HTTPS else 0
X_FRAME_OPTIONS = "DENY"
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_000_000
DATA_UPLOAD_MAX_NUMBER_FIELDS = 1000
FILE_UPLOAD_HANDLERS = ["bittern.bench.uploads.RefuseFiles"]

STATIC_URL = "/static/"
STATIC_ROOT = BITTERN_DATA / "static"
WHITENOISE_ALLOW_ALL_ORIGINS = False
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "bittern.bench.storage.StaticStorage"},
}

LANGUAGE_CODE = "en-gb"
USE_I18N = False
USE_TZ = True
TIME_ZONE = options.read_timezone()

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "%(levelname)s %(name)s: %(message)s"}},
    "handlers": {
        "stderr": {"class": "logging.StreamHandler", "formatter": "line"},
        # Without a handler of their own, records go to Python's last resort.
        "nowhere": {"class": "logging.NullHandler"},
    },
    "loggers": {
        # Refused logins are stored in the database; their lines would put login names into the server's log.
        "axes": {"handlers": ["nowhere"], "level": "ERROR", "propagate": False},
        "django": {"handlers": ["stderr"], "level": "ERROR", "propagate": False},
        # Anybody can send any name: refused with 400, not worth a traceback.
        "django.security.DisallowedHost": {"handlers": ["nowhere"], "propagate": False},
        "bittern": {"handlers": ["stderr"], "level": "INFO", "propagate": False},
    },
}
