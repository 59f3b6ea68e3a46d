'''The frame of the API: what every app's endpoints share. How to add one:

**Addresses.** Put `urlpatterns` into `<app>/api/urls.py`; they appear below `/api/v1/` by
themselves. Use `rest_framework.routers.SimpleRouter`, plural nouns, and set `basename`.

**Master data** (model derived from `studio.models.Revised`, found by `code`):

    from studio.web.api.viewsets import MasterViewSet, master_rules
    from studio.web.api.serializers import StrictModelSerializer
    from studio.foundation.roles import Capability

    class OfferSerializer(StrictModelSerializer[Offer]):
        cost_fields = ("price",)            # neither shown to nor set by those without costs
        class Meta:
            model = Offer
            fields = ("code", "price", "revision")
            read_only_fields = ("revision",)

    class OfferViewSet(MasterViewSet):
        """What a supplier sells."""
        queryset = Offer.objects.order_by("code")
        serializer_class = OfferSerializer
        filterset_fields = ("supplier",)    # or filterset_class; unknown parameters are refused
        cost_filters = ()                   # filters that only those who see costs may use
        ordering = ("code",)                # one unique column: pages are cut by cursor
        rules = master_rules(Capability.KEEP_STOCK)

        def create_row(self, given, serializer):    # only when a service holds a rule
            return services.offers.add_offer(**given)

Lists take `?page_size=1..200&cursor=...`. Updates take `If-Match` (the ETag, `"3"`): 428 without,
412 when stale; the row is locked and its revision raised before `change_row`. There is no DELETE.

Where the model describes its fields (`said`), a `DescribedViewSet` with `service = save_...` and a
serializer that names the fields are all: see `studio.work.keeping`.

**Rows with verbs** (lots, batches): `ReadOnlyStudioViewSet` plus verbs (`studio.web.api.verbs`).
Each action needs a rule; one without is closed, and `manage.py check` fails (studio.E001).

    class BatchViewSet(ReadOnlyStudioViewSet):
        queryset = ...
        serializer_class = BatchSerializer  # answers; list and retrieve are READ already

        @verb(Capability.PLAN, given=ReserveSerializer, answer=ReservationSerializer, status=201)
        def reserve(self, request, code, given):  # the validated body, all faults at once
            """Reserve what the batch needs."""
            return reserve_batch(code=code, by=caller(request), **given)

        @look(Capability.READ, answer=ShelfSerializer)
        def shelf(self, request, code): ...  # a GET

What a verb returns is answered; `self.made(row)` answers a new row with its address. A verb is done
once for its key unless it says `once=False`: `@stock_changing` (another POST takes it by itself)
opens the transaction, wants an Idempotency-Key and keeps the answer (see
`studio.web.idempotency`). Everything else that writes opens its own transaction. Do not use
`durable=True` in services.

**Answers** are `AnswerSerializer`s of `studio.web.api.answers`: they name the frozen type, or the
model, that they show, and their fields follow from its hints.

**Computations** that store nothing: `studio.web.api.views.ComputeView` with `given_serializer`,
`answer_serializer` and `compute(given)`; its rule is COMPUTE already. Answers about cost alone:
`rules = {"post": (Capability.COMPUTE, Capability.SEE_COSTS)}`.

**Refusals.** Raise a `studio.foundation.errors.Refusal` subclass anywhere; never build an error
answer. The table of statuses is in `studio.web.problems` (unreadable 400, refused by a rule 422,
conflict 409, not found 404). Each subclass has its own `code`, `title` and a docstring that
explains it: they are the page `/api/problems/<code>/`. In a serializer, `validate()` may raise a
Refusal: its faults join the field errors (400). A field's `to_internal_value` raises the
framework's ValidationError (`studio.web.error_tree.as_validation_error(refusal)` makes one and
keeps code and details).

**Strictness.** Serializers derive from `StrictSerializer` or `StrictModelSerializer`: unknown and
read-only fields are refused. JSON numbers with a fraction arrive as Decimal. Query parameters that
nothing reads are refused; name those of single actions in `known_query = {"action": ("name",)}`.

**Costs.** Whoever lacks `see_costs` (makers and viewers, unless an owner allows it) neither sees
nor sets cost fields. A cost field that such people may leave out must be `required=False`.
Outside a request give the context `{"see_costs": True}`.
'''
