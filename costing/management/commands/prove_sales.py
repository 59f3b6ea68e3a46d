"""Prove the sales: every order, shipment and credit against the ledger."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from costing.models.orders.sales import SalesOrder, SalesShipment
from costing.services.orders.proof import prove_sales


class Command(BaseCommand):
    help = "Prove that what orders say left, came back and is held is what the ledger says."

    def handle(self, *args: Any, **options: Any) -> None:
        found = prove_sales()
        orders, shipments = SalesOrder.objects.count(), SalesShipment.objects.count()
        if not found:
            self.stdout.write(
                f"The sales are proved: {orders} orders, {shipments} shipments, nothing differs."
            )
            return
        for one in found:
            self.stdout.write(
                f"{one.document}: {one.what} is {one.in_sales} in sales, {one.in_ledger} in the "
                "ledger."
            )
        raise CommandError(f"The sales differ from the ledger in {len(found)} places.")
