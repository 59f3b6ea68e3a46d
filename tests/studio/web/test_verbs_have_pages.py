"""What the API changes a page changes, too: a table of all verbs, by the names of their addresses.

A new verb is in neither list and fails here: give it its page, or say why there is none.
"""

from django.urls import URLPattern, URLResolver, get_resolver

from studio.web.pages.ruled import METHODS

API = "api/"
READ = frozenset({"get", "head", "options"})

#: The name of a verb's address -> the page that does it by hand.
PAGES = {
    # What is kept: added by a POST to the list, changed at the row's own address.
    "material-list": "material-new",
    "material-detail": "material-edit",
    "supplier-list": "supplier-new",
    "supplier-detail": "supplier-edit",
    "offer-list": "offer-new",
    "offer-detail": "offer-edit",
    "location-list": "location-new",
    "location-detail": "location-edit",
    "mold-list": "mold-new",
    "mold-detail": "mold-edit",
    "formula-list": "recipe-new",
    "formula-detail": "recipe-settings-page",
    "formula-version-list": "version-new",
    "formula-version-detail": "version-edit",
    "formula-version-make-current": "version-make-current",
    "formula-version-accept-worst": "version-accept-worst",
    "scale-list": "scale-new",
    "scale-detail": "scale-edit",
    "packaging-set-list": "packing-new",
    "packaging-set-detail": "packing-name",
    "packaging-set-editions": "packing-edit",
    "product-list": "product-new",
    "product-detail": "product-edit",
    "customer-list": "customer-new-page",
    "customer-detail": "customer-edit-page",
    "tier-list": "tier-new",
    "tier-detail": "tier-edit",
    "tier-start-ladder": "tiers-start",
    "rate-list": "rate-new",
    "labor-standard-list": "standard-new",
    "fee-list": "fee-new",
    "price-entry-list": "price-set",
    "late-rates": "late-rates-page",
    "import-list": "tables-page",
    "import-go-on": "take-in",
    "import-discard": "give-up",
    "token": "tokens-page",
    "tokens": "end-token",
    # The shelf.
    "delivery-list": "receive-page",
    "lot-block": "lot-block-page",
    "lot-hold": "lot-block-page",
    "lot-quarantine": "lot-quarantine-page",
    "lot-release": "lot-release-page",
    "lot-end-cure": "lot-end-cure-page",
    "lot-decide": "lot-decide-page",
    "lot-certificate": "lot-certificate-page",
    "lot-count": "lot-count-page",
    "lot-spoil": "lot-spoil-page",
    "lot-received-on": "lot-received-on-page",
    "lot-move-move": "lot-move-page",
    "lot-trace-recall": "lot-recall-page",
    "recall-lift": "recall-lift-page",
    "shipment-take-back": "shipment-return-page",
    "count-session-list": "count-new-page",
    "count-session-enter": "count-find",
    "count-session-post-all": "count-close-page",
    "count-session-cancel": "count-cancel-page",
    # Buying.
    "reorder-aims": "studio-aims-page",
    "policy-aims": "aims-page",
    "policy-adopt": "adopt-policy",
    "buy-plan-list": "buy-plan-new",
    "buy-plan-order": "order-buy-plan",
    "purchase-order-list": "purchase-order-new",
    "purchase-order-send": "place-purchase-order",
    "purchase-order-receive": "receive-page",
    "purchase-order-close": "close-purchase-order",
    "purchase-order-cancel": "cancel-purchase-order",
    "alert-evaluate": "look-now",
    "alert-rounds": "look-now",
    "alert-acknowledge": "acknowledge-alert",
    "alert-snooze": "snooze-alert",
    # The batch.
    "formula-scale": "scale-page",
    "formula-explosion-explode": "batch-parts-page",
    "batch-list": "scale-plan",
    "batch-tree-tree": "batch-plan-parts-page",
    "batch-tree-reserve-tree": "batch-reserve-page",
    "batch-tree-cancel-tree": "batch-cancel-page",
    "batch-reserve": "batch-choose-page",
    "batch-unreserve": "batch-give-back-page",
    "batch-cancel": "batch-cancel-page",
    "batch-bench-weigh": "bench-weigh-page",
    "batch-bench-record": "bench-record-page",
    "batch-pour": "pour-page",
    "batch-cut": "cut-page",
    "batch-cure": "release-page",
    "batch-cure-weighings": "cure-weigh-page",
    "batch-cure-cure-date": "cure-date-page",
    "batch-cure-net-weight": "release-page",
    # What it costs and what is sold.
    "compute-scale": "scale-page",
    "compute-mold-volume": "mold-holds",
    "compute-break-even": "break-even-page",
    "compute-minimum-order": "break-even-page",
    "formula-cost": "recipe-cost-page",
    "what-if": "what-if-page",
    "quote-list": "quote-new-page",
    "quote-detail": "quote-edit-page",
    "quote-recalculate": "quote-again-page",
    "quote-revise": "quote-revise-page",
    "quote-send": "quote-send-page",
    "quote-accept": "quote-accept-page",
    "quote-decline": "quote-decline-page",
    "sales-order-list": "order-new-page",
    "sales-order-plan": "order-plan-page",
    "sales-order-reserve": "order-hold-page",
    "sales-order-unreserve": "order-give-back-page",
    "sales-order-ship": "order-ship-page",
    "sales-order-take-back": "order-back-page",
    "sales-order-cancel": "order-end-page",
}

#: The name of a verb's address -> why it is done by the API alone.
API_ALONE = {
    "shipment-list": "by hand bars leave with an order, which bills them",
    "reservation-release": "by hand a batch or an order gives back what it holds",
    "rate-detail": "by hand a rate holds from a day on, and another follows it",
    "labor-standard-detail": "by hand a work time holds from a day on, and another follows it",
    "fee-detail": "by hand a fee holds from a day on, and another follows it",
    "price-entry-detail": "by hand a price holds from a day on, and another follows it",
    "price-entry-together": "by hand prices are set one by one, or by a table",
    "webhook-list": "only a program is told by a webhook",
    "webhook-detail": "only a program is told by a webhook",
    "webhook-delivery-resend": "only a program is told by a webhook",
    "compute-lye": "keeps nothing: the page of a recipe shows its lye while it is written",
    "compute-density": "keeps nothing: fields say what a volume weighs",
    "compute-cost": "keeps nothing: a recipe's cost is told of what is kept",
    "compute-price": "keeps nothing: the page of a product shows its prices",
}


def routes(patterns, above=""):
    for pattern in patterns:
        address = above + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from routes(pattern.url_patterns, address)
        elif isinstance(pattern, URLPattern) and pattern.name:
            yield pattern, address


def verbs():
    """The names of all addresses of the API that do something."""
    return {
        pattern.name
        for pattern, address in routes(get_resolver().url_patterns)
        if address.startswith(API) and methods_of(pattern.callback) - READ
    }


def methods_of(view):
    """The methods that a view of the API answers."""
    if hasattr(view, "actions"):  # of a viewset
        return set(view.actions)
    made = getattr(view, "cls", None) or getattr(view, "view_class", object)
    return {name for name in ("post", "put", "patch", "delete") if hasattr(made, name)}


def test_every_verb_has_its_page_or_says_why_there_is_none():
    found = verbs()
    assert len(found) > 100
    assert not PAGES.keys() & API_ALONE.keys()
    assert found - PAGES.keys() - API_ALONE.keys() == set(), "a verb without a page"
    assert PAGES.keys() | API_ALONE.keys() <= found, "a verb that is there no more"
    assert all(why.strip() for why in API_ALONE.values())


#: These work something out of what is asked in their address.
LOOKED_AT = frozenset({"scale-page", "batch-parts-page", "break-even-page", "recipe-cost-page"})
LOOKED_AT |= {"what-if-page"}


def test_each_of_these_pages_is_there_and_does_it_by_a_form():
    known = {
        pattern.name: getattr(pattern.callback, METHODS, None)
        for pattern, address in routes(get_resolver().url_patterns)
        if not address.startswith(API)
    }
    named = set(PAGES.values())
    assert named <= known.keys()
    changing = {name for name in named if "POST" in (known[name] or ())}
    assert named - changing == LOOKED_AT
