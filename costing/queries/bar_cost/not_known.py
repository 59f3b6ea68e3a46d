"""Which lots cost more than the books know yet: a batch took labor or overhead without a rate."""

from costing.models.bar_cost.conversion import ConversionEffort
from inventory.queries.shipping.trace import made_of_these


def lots_not_known() -> set[int]:
    """The lots, by id, whose labor or overhead is not known, and all that was made of them.

    One query where all is known, else two.
    """
    open_efforts = ConversionEffort.objects.filter(
        cost__isnull=True, conversion__batch__bar_lot__isnull=False
    ).order_by()
    lots = set(open_efforts.values_list("conversion__batch__bar_lot", flat=True))
    return made_of_these(lots) if lots else set()
