"""Every page of the studio with one of its addresses in the studio of `tests.furnished`.

The tests that walk over all pages fail when a page is missing here: give a new one its line.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from django.db.models import Model
from django.urls import reverse
from django.urls.resolvers import URLPattern, URLResolver, get_resolver

from costing.models.bar_cost.packaging import PackagingSet
from costing.models.orders.sales import SalesOrder
from costing.models.quotes.quotes import Quote
from costing.services.what_if.job import WHAT_IF_JOB
from inventory.models.alerts.alerts import Alert
from inventory.models.buying.orders import BuyPlan, PurchaseOrder
from inventory.models.catalog.suppliers import Offer
from inventory.models.counting.counts import CountSession
from inventory.models.receiving.deliveries import Delivery
from inventory.models.shipping.recalls import Recall
from inventory.models.shipping.shipments import Shipment
from inventory.models.stock.lots import Location, Lot
from inventory.services.buying.plan_job import BUY_PLAN_JOB
from recipes.models.bench.batches import Batch
from studio.models import ImportRun, Membership
from studio.web.pages.ruled import METHODS, OTHER_RULES
from studio.work.jobs import Job

#: Pieces of a page that its script asks for; they are tested where their page is.
FRAGMENTS = frozenset(
    {"read-quantity", "receive-landed", "receive-items", "recipe-draft", "mold-holds"}
    | {"recipe-cost-fragment", "bench-reading", "favicon", "problem-list", "problem"}
)
#: Files to take away, pages for somebody without an account, and what leads to another page.
ELSEWHERE = frozenset(
    {
        "bench-weigh-page",
        "table-file",
        "import-faults-page",
        "sign-in",
        "sign-out",
        "admin-sign-in",
        "first-owner-page",
    }
)


def _first(rows: "type[Model]", **found: object) -> Model:
    row = rows._default_manager.filter(**found).order_by("pk").last()
    assert row is not None, f"the furnished studio has no {rows.__name__} with {found}"
    return row


def _code(rows: "type[Model]", **found: object) -> str:
    return str(getattr(_first(rows, **found), "code"))  # noqa: B009 - a Model has no code


#: What stands in an address by its beginning; the longest that fits is taken.
BELOW: dict[str, Callable[[], list[object]]] = {
    "shelf/deliveries/": lambda: [_code(Delivery)],
    "shelf/materials/": lambda: ["olive-oil"],
    "shelf/suppliers/": lambda: ["northfold"],
    "shelf/offers/": lambda: [_code(Offer)],
    "shelf/lots/": lambda: [_code(Lot, material__code="olive-oil", on_hand__gt=0)],
    "shelf/counts/": lambda: [_code(CountSession)],
    "shelf/locations/": lambda: [_code(Location)],
    "shelf/shipments/": lambda: [_code(Shipment)],
    "shelf/recalls/": lambda: [_code(Recall, lifted_at=None)],
    "buying/plans/": lambda: [_code(BuyPlan)],
    "buying/orders/": lambda: [_code(PurchaseOrder, state="placed")],
    "buying/reorder/": lambda: ["olive-oil"],
    "buying/alerts/": lambda: [_first(Alert).pk],
    "recipes/": lambda: ["harbor-plain"],
    "recipes/molds/": lambda: ["long-loaf"],
    "recipes/scales/": lambda: ["bench"],
    "batches/": lambda: [_code(Batch, state="reserved")],
    "prices/": lambda: ["harbor-plain"],
    "prices/setup/tiers/": lambda: ["wholesale"],
    "prices/setup/packing/": lambda: [_code(PackagingSet)],
    "customers/": lambda: ["gull-and-lantern"],
    "quotes/": lambda: [_code(Quote, state="draft")],
    "orders/": lambda: [_code(SalesOrder)],
    "settings/people/": lambda: [_first(Membership).user_id],
    "settings/tables/files/": lambda: [_first(ImportRun).pk],
}
#: Where the page of a certain state is meant, and what else stands in its address.
BY_NAME: dict[str, Callable[[], list[object]]] = {
    "buy-plan-job-page": lambda: [_first(Job, name=BUY_PLAN_JOB, parent=None).pk],
    "what-if-answer-page": lambda: [_first(Job, name=WHAT_IF_JOB, parent=None).pk],
    "recall-page": lambda: [_code(Recall, lifted_at__isnull=False)],
    "version-edit": lambda: ["night-ferry", 1],
    "version-new": lambda: ["harbor-plain", 1],
    "version-first": lambda: ["harbor-plain"],
    "batch-cost-page": lambda: [_code(Batch, state="cured", fats__gt=0)],
    "batch-parts-page": lambda: [_code(Batch, state="planned")],
    "batch-choose-page": lambda: [_code(Batch, state="planned")],
    "batch-cancel-page": lambda: [_code(Batch, state="reserved")],
    "quote-accept-page": lambda: [_code(Quote, state="sent")],
    "quote-decline-page": lambda: [_code(Quote, state="sent")],
    "quote-again-page": lambda: [_code(Quote, state="sent")],
}
#: What is asked for beside the address.
ASKED = {
    "search": "?q=olive",
    "scale-page": "?mold=long-loaf",
    "what-if-page": "?c0-of=material:olive-oil&c0-to=30",
}


@dataclass(frozen=True, slots=True)
class Address:
    """A page's name and where it stands."""

    name: str
    path: str


def _routed(patterns: list[object], above: str = "") -> Iterator[tuple[str, URLPattern]]:
    for pattern in patterns:
        address = above + str(pattern.pattern)  # type: ignore[attr-defined]
        if address in OTHER_RULES:
            continue
        if isinstance(pattern, URLResolver):
            yield from _routed(pattern.url_patterns, address)
        elif isinstance(pattern, URLPattern):
            yield address, pattern


def pages() -> list[Address]:
    """All pages that can be looked at, each at an address that the furnished studio has."""
    found = []
    for route, pattern in _routed(get_resolver().url_patterns):
        name = pattern.name or ""
        if name in FRAGMENTS | ELSEWHERE or "GET" not in getattr(
            pattern.callback, METHODS, ("GET",)
        ):
            continue
        found.append(Address(name, reverse(name, args=_given(name, route)) + ASKED.get(name, "")))
    return found


def _given(name: str, route: str) -> list[object]:
    if name in BY_NAME:
        return BY_NAME[name]()
    if "<" not in route:
        return []
    fitting = [begin for begin in BELOW if route.startswith(begin)]
    assert fitting, f"/{route} has no address in tests/page_map.py"
    return BELOW[max(fitting, key=len)]()
