"""Settings of the API's libraries; `studio.settings` takes them in as they stand."""

from datetime import timedelta
from typing import Any

#: As `inventory.domain.catalog.unusual` has them.
_UNUSUAL = [
    "unusual-purity",
    "unusual-saponification-value",
    "purity-contradicts-parts",
    "saponification-value-contradicts-parts",
]

REST_FRAMEWORK: dict[str, Any] = {
    "DEFAULT_AUTHENTICATION_CLASSES": (
        "studio.web.api.callers.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ),
    "DEFAULT_PERMISSION_CLASSES": ("studio.web.permissions.RuledByTable",),
    "DEFAULT_PARSER_CLASSES": ("studio.web.api.parsing.StrictJSONParser",),
    "DEFAULT_RENDERER_CLASSES": ("rest_framework.renderers.JSONRenderer",),
    "DEFAULT_PAGINATION_CLASS": "studio.web.api.lists.pagination.BoundedCursorPagination",
    "DEFAULT_FILTER_BACKENDS": ("django_filters.rest_framework.DjangoFilterBackend",),
    "DEFAULT_SCHEMA_CLASS": "studio.web.api.schema.StudioAutoSchema",
    "DEFAULT_METADATA_CLASS": None,
    "DEFAULT_THROTTLE_RATES": {"sign-in-address": "60/min", "sign-in-name": "10/min"},
    "EXCEPTION_HANDLER": "studio.web.problems.exception_handler",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
    # The address that the connection came from: a forwarded one is written by the caller.
    "NUM_PROXIES": 0,
    "URL_FORMAT_OVERRIDE": None,
    "COERCE_DECIMAL_TO_STRING": True,
}

REST_KNOX: dict[str, Any] = {"TOKEN_TTL": timedelta(days=30)}

SPECTACULAR_SETTINGS: dict[str, Any] = {
    "TITLE": "Soap studio",
    "DESCRIPTION": (
        "Lots, lye, batches and costs of a small soap studio. Lye burns: wear goggles, gloves and "
        "long sleeves, always add lye to water and never water to lye, and check every computed "
        "weight before you use it."
    ),
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_PUBLIC": True,
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ("rest_framework.permissions.AllowAny",),
    "SERVE_AUTHENTICATION": (),
    "SCHEMA_PATH_PREFIX": r"/api/v1",
    "COMPONENT_SPLIT_REQUEST": True,
    # Fields of one name with different choices.
    "ENUM_NAME_OVERRIDES": {
        "FormulaBasis": "recipes.api.version_fields.BASES",
        "ChargeBasis": ["value", "weight"],
        "OrderingMode": ["all", "parts"],
        "LotState": ["released", "quarantine", "blocked"],
        "LotStateEnum": "inventory.models.stock.lots.LOT_STATES",
        "HoldCause": "inventory.models.stock.holds.CAUSES",
        "HoldOutcome": "inventory.models.stock.holds.OUTCOMES",
        "UnusualValue": _UNUSUAL,
        "DeliveryConfirmed": ["invoice-again", *_UNUSUAL],
        "QuoteState": "costing.models.quotes.quotes.QuoteState",
        "ImportState": "studio.models.ImportRun.State",
        "ImportMode": "studio.models.ImportRun.Mode",
        "RateKind": "costing.api.what_if.what_if.RATES",
        "CostKind": ["material", "packaging", "labor", "overhead", "recovered"],
        "PriceBasis": "costing.queries.bar_cost.price_basis.CHOICES",
    },
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "SWAGGER_UI_SETTINGS": {"deepLinking": True, "docExpansion": "none"},
}

#: Largest body that is read, in bytes; larger ones are refused with 413.
DATA_UPLOAD_MAX_MEMORY_SIZE = 1_048_576
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "overview"
LOGOUT_REDIRECT_URL = "overview"
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
#: Static files are served from the packages that hold them: no collecting step is needed.
WHITENOISE_USE_FINDERS = True
