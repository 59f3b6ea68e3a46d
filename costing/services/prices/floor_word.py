"""Prices of a sale keep to their floors, or an owner answers for them: one rule for all sales."""

from collections.abc import Sequence

from django.conf import settings

from costing.errors import OverrideNotAllowed
from costing.queries.prices.sale_floors import Offered
from studio.foundation.doers import By
from studio.foundation.errors import Faults, InvalidInput, Refusal
from studio.foundation.local_words import exact_money
from studio.foundation.money import amount_text
from studio.foundation.roles import Role, role_of

#: What an owner says of prices under their floor: it stands whole in the history of a sale.
LONGEST_WORD = 340


def keep_to_floors(
    lines: Sequence[Offered],
    *,
    by: By,
    reason: str,
    refusal: type[Refusal],
    field: str,
) -> str:
    """What the history says of an owner's word for prices under their floor; empty without any.

    Raises `refusal` without a reason, naming every line (by its place, and `field` in it) that is
    under its floor, or whose floor is not known; OverrideNotAllowed for anybody but an owner,
    InvalidInput for a reason that is too long.
    """
    under = [line for line in lines if line.asked.under]
    unknown = [line for line in lines if line.is_floor_unknown and not line.asked.under]
    if not under and not unknown:
        return ""
    if len(reason) > LONGEST_WORD:
        raise InvalidInput(f"At most {LONGEST_WORD} characters.", field="override_reason")
    if not reason:
        faults = Faults()
        for line in under:
            _tell_floor(faults, line, f"lines.{line.position - 1}.{field}")
        for line in unknown:
            _tell_unknown(faults, line, f"lines.{line.position - 1}.{field}")
        faults.raise_if_any(refusal)
    if by is None or role_of(by) != Role.OWNER:
        raise OverrideNotAllowed(
            "Prices under the floor, or whose floor is not known, are an owner's to answer for: "
            "ask one.",
            field="override_reason",
        )
    told = [
        f"{words} ({', '.join(f'line {line.position}' for line in rows)})"
        for words, rows in (("Under the floor", under), ("Floor not known", unknown))
        if rows
    ]
    # First what an owner said: of many lines a history cuts the rest.
    return f"By an owner's word: {reason}. {' and '.join(told)}"


def _tell_unknown(faults: Faults, line: Offered, field: str) -> None:
    least = line.asked.at_least
    known = "" if least is None else f" It is at least {exact_money(least)}."
    faults.add(
        "floor-not-known",
        f"{line.product.name}: {line.why_unknown}.{known} Or an owner answers for it and states "
        "why.",
        field,
        product=line.product.code,
        **({} if least is None else {"floor_at_least": _amount(least)}),
    )


def _tell_floor(faults: Faults, line: Offered, field: str) -> None:
    asked = line.asked
    restored = asked.restored(step=line.tier.step, ending=line.tier.ending)
    paid = round(asked.paid)
    floor = (asked.at_least if asked.floor is None else asked.floor) or 0
    mended = (
        "What a bar costs is not known wholly, so nothing says which price would be on it."
        if asked.floor is None
        else f"A price of {exact_money(restored or floor)} would be on it."
    )
    faults.add(
        "under-floor",
        f"{line.product.name}: {exact_money(paid)} a bar after the discount is under the floor of "
        f"{'at least ' if asked.floor is None else ''}{exact_money(floor)}. {mended}",
        field,
        product=line.product.code,
        **{
            name: _amount(value)
            for name, value in (
                ("price", line.price),
                ("paid", paid),
                ("floor", floor),
                ("restoring_price", None if asked.floor is None else restored or floor),
            )
            if value is not None
        },
    )


def _amount(value: int) -> str:
    return amount_text(value, currency=settings.STUDIO_CURRENCY)
