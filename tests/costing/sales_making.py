"""Products, customers and orders for tests of sales. Names and prices are invented."""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.utils import timezone

from costing.models.bar_cost.packaging import PackagingEdition, PackagingPiece, PackagingSet
from costing.models.orders.sales import SalesOrder
from costing.models.prices.prices import PriceEntry, Product, Tier
from costing.models.quotes.quotes import Customer
from costing.services.orders.opening import Mode, Start
from costing.services.orders.sales import OrderedBars, Ordering, place_order
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from tests.costing.making import make_free_rates
from tests.inventory.making import make_lot, make_material
from tests.recipes.making import Bench, make_bench

UNIT = 10_000
LONG_AGO = date(2020, 1, 1)


@dataclass
class Shop:
    """A bench with a product of its bar, a wholesale tier with a price, and a customer."""

    bench: Bench
    product: Product
    tier: Tier
    customer: Customer

    @property
    def bar(self) -> Material:
        return self.bench.formula.product

    def cured(self, amount: int, cost: int = 0, *, days: int = 0, **values: object) -> Lot:
        """A lot of released bars that came so many days ago."""
        came = timezone.localdate() - timedelta(days=days)
        return make_lot(self.bar, amount, cost, received_on=came, **values)

    def packaging(self, pieces: int = 1000, cost: int = 0) -> PackagingSet:
        """A label for each bar, a carton for every twelve and two tapes for it, all in stock."""
        row = PackagingSet.objects.create(code="shop", name="For shops")
        edition = PackagingEdition.objects.create(
            packaging_set=row, effective_from=LONG_AGO, bars_per_carton=12
        )
        for code, per, each in (
            ("label", "bar", 1),
            ("carton", "carton", 1),
            ("tape", "carton", 2),
        ):
            material = make_material(code, kind="packaging", counted=True)
            PackagingPiece.objects.create(edition=edition, material=material, per=per, pieces=each)
            if pieces:
                make_lot(material, pieces, cost)
        self.product.packaging_set, self.product.needs_no_packing = row, False
        self.product.save()
        return row

    def order(self, *quantities: int, mode: Mode = Mode.PARTS, **values: object) -> SalesOrder:
        """An order of the product, a line for each quantity."""
        start = Start(mode=mode, parts=values.pop("parts", None), plan=values.pop("plan", False))
        lines = [
            OrderedBars(product=self.product.code, quantity=n, bars_per_carton=12)
            for n in quantities
        ]
        values.setdefault("due_on", timezone.localdate() + timedelta(days=60))
        return place_order(
            Ordering(customer=self.customer.code, lines=lines, **values), start=start
        )


def make_shop(*, price: int = 5 * UNIT, bench: Bench | None = None, **tier: object) -> Shop:
    """A shop; with a bench of its own, labor and overhead cost nothing."""
    if bench is None:
        make_free_rates()
        bench = make_bench()
    product = Product.objects.create(
        code="plain",
        name="Plain olive bar",
        formula=bench.formula,
        mold=bench.mold,
        needs_no_packing=True,
    )
    values = {"wanted_margin": Decimal("0.5"), "floor_margin": Decimal("0.3"), **tier}
    row = Tier.objects.create(code="wholesale", name="Wholesale", **values)
    add_price(product, row, price)
    customer = Customer.objects.create(code="corner", name="Corner shop (invented)", tier=row)
    return Shop(bench, product, row, customer)


def add_price(product: Product, tier: Tier, price: int, *, floor: int | None = 1) -> PriceEntry:
    """A price with a floor of its own, since nobody offers what its bars are made of."""
    return PriceEntry.objects.create(
        product=product, tier=tier, price=price, floor=floor, effective_from=LONG_AGO
    )
