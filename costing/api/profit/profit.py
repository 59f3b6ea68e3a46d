"""What sales brought and cost, by product, customer and month."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, ClassVar

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from costing.domain.profit.profit import By, Figures, Group
from costing.queries.profit.profit import Profit, profit_by
from studio.foundation.errors import Faults, InvalidInput
from studio.foundation.money import to_decimal
from studio.foundation.roles import Capability
from studio.foundation.tables.cells import Cell
from studio.foundation.tables.saved import SavedTable
from studio.web.api.answers import AnswerSerializer
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import StudioView
from studio.web.downloads import CSV, XLSX, TableView
from studio.web.permissions import Rules
from studio.web.serializer_fields.numbers import MoneyField, ShareField

MONEY = (
    "sold", "credited", "revenue", "cost_at_least", "cost_of_goods", "gross_margin", "packing",
    "fees", "selling_cost", "contribution",
)  # fmt: skip
COUNTS = ("bars", "returned", "bars_not_known", "packing_not_known")
PARAMETERS = [
    OpenApiParameter(
        "by",
        str,
        description="product, customer, month, or several with commas. Without it, all as one.",
    ),
    OpenApiParameter("from", date, description="The first day, included."),
    OpenApiParameter("until", date, description="The last day, included."),
]
QUERY = ("by", "from", "until")


class FiguresSerializer(AnswerSerializer):
    """Sales without tax and after discounts; credits are what was given back for returns.

    Labor or overhead of `bars_not_known` bars that left or came back was not known when they left:
    then what the goods cost and what is left are null, and `cost_at_least` is what the books know.
    How `packing_not_known` bars are packed nobody had said: then packing and what is left are null.

    `cost_of_goods` is what the ledger took off for bars that left, less what came back. Packing for
    the customer and fees are costs of selling (IAS 2 paragraph 16), which the contribution bears.
    """

    shows = Figures
    says = (
        *("bars", "returned", *MONEY[:3], "not_known as bars_not_known", "packing_not_known"),
        *(*MONEY[3:6], "gross_share", *MONEY[6:]),
    )
    gross_share = ShareField(allow_null=True, min_value=None, help_text="Of the revenue.")


class GroupSerializer(FiguresSerializer):
    """The figures of one group; what it is not grouped by is null."""

    product = serializers.CharField(allow_null=True)
    product_name = serializers.CharField(allow_null=True)
    customer = serializers.CharField(allow_null=True)
    customer_name = serializers.CharField(allow_null=True)
    month = serializers.CharField(allow_null=True, help_text="As 2026-03.")


class ProfitSerializer(StrictSerializer):
    """All groups in order, and everything together.

    `late_costs` is labor and overhead whose rates came in these days, for what had left before: an
    expense of its own, in no group.
    """

    groups = GroupSerializer(many=True)
    total = FiguresSerializer()
    late_costs = MoneyField()


class ProfitView(StudioView):
    """Revenue, cost of goods sold from the ledger, margin and contribution of what was shipped."""

    serializer_class = ProfitSerializer
    rules: ClassVar[Rules] = {"get": (Capability.READ, Capability.SEE_COSTS)}

    def query_parameters(self) -> Iterable[str]:
        return QUERY

    @extend_schema(parameters=PARAMETERS)
    def get(self, request: Request) -> Response:
        """Profit by product, customer and month, in a stretch of days."""
        found = _asked(request)
        groups = [_shown(group, figures, found) for group, figures in found.groups.items()]
        shown = {"groups": groups, "total": found.total, "late_costs": found.late}
        return Response(self.get_serializer(shown).data)


class _ProfitTable(TableView):
    rules: ClassVar = {"get": (Capability.READ, Capability.SEE_COSTS)}

    def query_parameters(self) -> Iterable[str]:
        return QUERY

    def table(self, request: Request, **kwargs: Any) -> SavedTable:
        found = _asked(request)
        heads = [head for each in found.by for head in _heads(each)]
        return SavedTable(
            name="profit",
            title="Profit",
            heads=(*heads, *COUNTS, *MONEY, "gross_share"),
            rows=[_cells(group, figures, found) for group, figures in found.groups.items()],
        )


class ProfitCsvView(_ProfitTable):
    """The same as comma-separated values."""

    @extend_schema(parameters=PARAMETERS, responses={(200, CSV): OpenApiTypes.BINARY})
    def get(self, request: Request, **kwargs: Any) -> Any:
        return super().get(request, **kwargs)


class ProfitXlsxView(_ProfitTable):
    """The same as a workbook; a month is its first day."""

    form = "xlsx"

    @extend_schema(parameters=PARAMETERS, responses={(200, XLSX): OpenApiTypes.BINARY})
    def get(self, request: Request, **kwargs: Any) -> Any:
        return super().get(request, **kwargs)


def _asked(request: Request) -> Profit:
    faults = Faults()
    by = _groups(request.query_params.get("by"), faults)
    since, until = (_day(request, name, faults) for name in ("from", "until"))
    if since and until and until < since:
        faults.add("before-start", f"It starts on {since}.", "until")
    faults.raise_if_any(InvalidInput)
    return profit_by(by, since=since, until=until)


def _groups(text: str | None, faults: Faults) -> tuple[By, ...]:
    """What to group by; the parameter may be left out, but not be empty."""
    if text is None:
        return ()
    found: list[By] = []
    for name in text.split(","):
        if name not in list(By) or By(name) in found:
            faults.add("unknown-group", f"Group by {', '.join(By)}, each once.", "by")
            return ()
        found.append(By(name))
    return tuple(found)


def _day(request: Request, name: str, faults: Faults) -> date | None:
    text = request.query_params.get(name)
    if text is None:
        return None
    try:
        if len(text) != 10:
            raise ValueError
        return date.fromisoformat(text)
    except ValueError:
        faults.add("not-a-day", "Write the day as 2026-03-31.", name)
        return None


def _shown(group: Group, figures: Figures, found: Profit) -> Mapping[str, Any]:
    named = dict(zip(found.by, group, strict=True))
    names = {f"{by}_name": found.names.get((by, named.get(by, ""))) for by in By}
    shown = {by.value: named.get(by) for by in By}
    names_shown = ("bars", "returned", "not_known", "packing_not_known", *MONEY, "gross_share")
    values = {name: getattr(figures, name) for name in names_shown}
    return {**shown, **names, **values}


def _heads(by: By) -> tuple[str, ...]:
    return (by.value,) if by is By.MONTH else (by.value, f"{by.value}_name")


def _cells(group: Group, figures: Figures, found: Profit) -> Sequence[Cell]:
    cells: list[Cell] = []
    for by, value in zip(found.by, group, strict=True):
        if by is By.MONTH:
            cells.append(date.fromisoformat(f"{value}-01"))
        else:
            cells += [value, found.names.get((by, value), "")]
    counts = (figures.bars, figures.returned, figures.not_known, figures.packing_not_known)
    cells += [Decimal(count) for count in counts]
    amounts: list[int | None] = [getattr(figures, name) for name in MONEY]
    cells += [None if amount is None else to_decimal(amount) for amount in amounts]
    cells.append(figures.gross_share)
    return cells
