"""The stock ledger: entries are added, never changed (triggers refuse UPDATE and DELETE)."""

import uuid

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from inventory.domain.stock.ledger import Verb
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import Reservation
from studio.foundation.doers import DoerField
from studio.foundation.guards import Guard
from studio.foundation.model_fields import MoneyField, StockField, rules

#: What each verb may change; the same table as `inventory.domain.stock.ledger.RULES`, as a CHECK.
_ENTRY_RULES = (
    Q(verb__in=["receive", "produce", "return"], on_hand__gt=0, reserved=0, cost__gte=0)
    | Q(verb="reserve", on_hand=0, reserved__gt=0, cost=0)
    | Q(verb="release", on_hand=0, reserved__lt=0, cost=0)
    | Q(
        verb__in=["consume", "ship"],
        on_hand__lt=0,
        reserved__lte=0,
        reserved__gte=F("on_hand"),
        cost__lte=0,
    )
    | Q(verb="spoil", on_hand__lt=0, reserved=0, cost__lte=0)
    | Q(verb="count", on_hand__lt=0, reserved=0, cost__lte=0)
    | Q(verb="count", on_hand__gt=0, reserved=0, cost__gte=0)
    | (Q(verb="add_cost", on_hand=0, reserved=0) & ~Q(cost=0))
)


class StockEntry(models.Model):
    """One change of one lot: signed changes of on hand, reserved and cost.

    Entries written together share a `posting`; `reference` names the document behind them
    ("delivery:D-00003", "batch:B-00012"). `on` is the studio's day of the fact, by which use and
    demand are told; `at` the moment it was entered.
    """

    posting = models.UUIDField(default=uuid.uuid4, db_index=True)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="entries")
    verb = models.CharField(max_length=10, choices=[(verb.value, verb.value) for verb in Verb])
    on_hand = StockField(default=0)
    reserved = StockField(default=0)
    cost = MoneyField(default=0)
    reservation = models.ForeignKey(
        Reservation, on_delete=models.PROTECT, null=True, blank=True, related_name="entries"
    )
    reference = models.CharField(max_length=80, blank=True, db_index=True)
    note = models.CharField(max_length=200, blank=True)
    on = models.DateField(default=timezone.localdate)
    at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "stock entries"
        constraints = rules(entry_follows_verb=_ENTRY_RULES)

    def __str__(self) -> str:
        return f"{self.verb} {self.lot_id}"


TABLE = "inventory_stockentry"
MESSAGE = "entries of the stock ledger are never changed or deleted"

_SQLITE_ON = [
    f"""CREATE TRIGGER {TABLE}_no_{verb.lower()} BEFORE {verb} ON {TABLE}
    BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END"""
    for verb in ("UPDATE", "DELETE")
] + [
    # INSERT OR REPLACE deletes the old row without its DELETE trigger (sqlite.org/lang_conflict).
    f"""CREATE TRIGGER {TABLE}_no_replace BEFORE INSERT ON {TABLE}
    WHEN EXISTS (SELECT 1 FROM {TABLE} WHERE id = NEW.id)
    BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END"""
]
_SQLITE_OFF = [
    f"DROP TRIGGER IF EXISTS {TABLE}_no_{verb}" for verb in ("update", "delete", "replace")
]
_POSTGRES_ON = [
    f"""CREATE OR REPLACE FUNCTION {TABLE}_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN RAISE EXCEPTION '{MESSAGE}' USING ERRCODE = 'restrict_violation'; END $$""",
    f"""CREATE TRIGGER {TABLE}_append_only BEFORE UPDATE OR DELETE ON {TABLE}
    FOR EACH ROW EXECUTE FUNCTION {TABLE}_append_only()""",
    # TRUNCATE runs no row triggers.
    f"""CREATE TRIGGER {TABLE}_no_truncate BEFORE TRUNCATE ON {TABLE}
    FOR EACH STATEMENT EXECUTE FUNCTION {TABLE}_append_only()""",
]
_POSTGRES_OFF = [
    f"DROP TRIGGER IF EXISTS {TABLE}_{name} ON {TABLE}" for name in ("append_only", "no_truncate")
]
ENTRIES = Guard(
    tables=[TABLE],
    on={"sqlite": _SQLITE_ON, "postgresql": _POSTGRES_ON},
    off={"sqlite": _SQLITE_OFF, "postgresql": _POSTGRES_OFF},
)
