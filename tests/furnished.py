"""A studio with something of everything: the demonstration's, with open business of each kind.

It is the scenario of `manage.py demo` without its walk. Making it takes some seconds, so a process
makes it once, and puts its rows as they were into every database that is as empty as that one was.
"""

from datetime import date
from decimal import Decimal

from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction
from django.test import Client
from django.utils import timezone

from costing.queries.what_if.named import Named
from costing.services.orders.opening import accept_quote
from costing.services.orders.shipping import ToLeave, ship_order
from costing.services.quotes.drafts import LineDescription, QuoteDescription, draft_quote
from costing.services.quotes.quotes import send_quote
from costing.services.what_if.job import ask_what_if, recipes_asked
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from inventory.services.alerts.alerts import raise_alerts
from inventory.services.buying.order_papers import send_order
from inventory.services.buying.plan_job import ask_for_plan
from inventory.services.buying.plans import BuyOptions, make_plan, order_plan
from inventory.services.counting.sessions import NewSession, open_session
from inventory.services.shipping.recall import lift_recall, recall_lot
from inventory.services.stock.locations import LocationDescription, save_location
from studio.management.demo.history import steps
from studio.management.demo.pricing import load_selling
from studio.management.demo.shelf import load_recipes, load_shelf
from tests.inventory.making import KG, make_lot

CUSTOMER = "gull-and-lantern"
#: What writes a row, for each row of a database.
Rows = frozenset[str]
#: For each day it was made on: the rows that were there before, and those that were made.
_MADE: dict[date, tuple[Rows, list[str]]] = {}
#: Backwards by name: the guards take lines of a quote before the history that tells it was sent.
COLUMNS = """
    SELECT name, (SELECT group_concat('quote("' || name || '")', ' || '','' || ')
        FROM pragma_table_info(tables.name)) FROM sqlite_master AS tables
    WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name DESC
"""


def furnish(*, today: date) -> None:
    """Load the scenario, then quotes, orders, a count and a place, on SQLite."""
    before = _rows()
    if today in _MADE and _MADE[today][0] == frozenset(before):
        with transaction.atomic(), connection.cursor() as cursor:
            for row in _MADE[today][1]:
                cursor.execute(row)
        return
    _make(today)
    after = _rows()
    known = frozenset(before)
    assert known <= {*after}, "furnishing changes a row that every studio has"
    _MADE[today] = known, [row for row in after if row not in known]


def _rows() -> list[str]:
    """A statement for each row of the database, with the values as they are stored."""
    with connection.cursor() as cursor:
        cursor.execute(COLUMNS)
        asked = [
            f"""SELECT 'INSERT INTO "{table}" VALUES (' || {values} || ')' FROM "{table}\""""
            for table, values in cursor.fetchall()
        ]
        return [row for each in asked for (row,) in cursor.execute(each).fetchall()]


def _make(today: date) -> None:
    load_shelf()
    load_recipes()
    for step in steps(today):
        step()
    load_selling(today)
    lines = [LineDescription(product="harbor-plain", quantity=120)]
    for _ in range(3):
        draft_quote(QuoteDescription(customer=CUSTOMER, lines=lines), on=today)
    send_quote("Q-00002", on=today)
    send_quote("Q-00003", on=today)
    accept_quote("Q-00003", mode="parts")
    ship_order("SO-00001", ToLeave(bars={1: 24}))
    orders = order_plan(make_plan(BuyOptions(days=30), on=today).code)
    send_order(orders[0].code, on=today, mail=False)
    raise_alerts(now=timezone.now())
    _ask_in_the_background(today)
    lots = Lot.objects.filter(on_hand__gt=0).values_list("code", flat=True)[:40]
    open_session(NewSession(counted_on=today, lots=list(lots)))
    save_location(LocationDescription(code="long-shelf", name="Long shelf"))
    _recall(today)


def _recall(today: date) -> None:
    """A recall that is lifted, of a lot that reaches customers, and one that is open."""
    sold = Lot.objects.filter(shipment_lines__isnull=False).order_by("id").first()
    assert sold is not None
    unused = make_lot(Material.objects.get(code="ground-coffee"), KG, received_on=today)
    lift_recall(recall_lot(sold.code, "A label without its allergens").code, "Labels were sent")
    recall_lot(unused.code, "The supplier asks for it back")


def _ask_in_the_background(today: date) -> None:
    """Jobs that no worker has taken yet."""
    now = timezone.now()
    ask_for_plan(BuyOptions(days=30), on=today, by=None, now=now)
    changes = [Named(material="olive-oil", by=Decimal("0.3"))]
    recipes = recipes_asked()
    ask_what_if(changes, words=["Olive oil +30 %"], recipes=recipes, on=today, by=None, now=now)


def hand_in(client: Client) -> None:
    """Hand in a file with a fault, as `client`, for the page of an import."""
    content = b"code,name,kind\nclay,Clay,colorant\npalm,,fat\n"
    file = SimpleUploadedFile("shelf.csv", content, content_type="text/csv")
    client.post("/settings/tables/", {"table": "materials", "mode": "create", "file": file})
