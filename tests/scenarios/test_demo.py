"""The demonstration as a person runs it: in a process of its own, with a real worker."""

import json
import sqlite3
from contextlib import closing
from decimal import Decimal

import pytest

from tests.scenarios.commands import manage

TABLES = (
    "inventory_lot",
    "inventory_stockentry",
    "inventory_delivery",
    "inventory_alert",
    "studio_digest",
    "recipes_batch",
    "recipes_mold",
    "costing_priceentry",
    "costing_quote",
    "costing_salesorder",
    "costing_salesshipment",
)


def rows(var, sql):
    with closing(sqlite3.connect(var / "studio.sqlite3")) as connection:
        return connection.execute(sql).fetchall()


def counts(var):
    return {table: rows(var, f"SELECT count(*) FROM {table}")[0][0] for table in TABLES}


def test_it_is_as_large_as_a_real_studio(shown):
    var, _ = shown
    assert counts(var)["inventory_lot"] >= 60
    assert rows(var, "SELECT count(*) FROM inventory_material WHERE kind != 'bar'")[0][0] >= 30
    assert rows(var, "SELECT count(*) FROM inventory_supplier")[0][0] >= 8
    assert rows(var, "SELECT count(*) FROM recipes_formula")[0][0] >= 6
    assert rows(var, "SELECT count(DISTINCT shape) FROM recipes_mold")[0][0] >= 6
    assert counts(var)["recipes_batch"] >= 20
    states = {state for (state,) in rows(var, "SELECT DISTINCT state FROM recipes_batch")}
    assert states == {"planned", "reserved", "poured", "cut", "cured", "cancelled"}


@pytest.mark.parametrize(
    "said",
    [
        "Short: Peppermint essential oil",  # the shelf check names what is missing
        "Local codes and licensed practice come first",  # the cautions stand on the sheet
        "Never pour water onto lye",
        "Superfat with the certificates of these lots",
        "At a margin of 50 % of the price, wholesale is",
        "Coconut oil",
        "2 of 17 prices would fall under their floor",
        "Orders and shipments agree with the ledger: 0 differences",
        "0 differences",
    ],
)
def test_the_walk_shows_the_main_job(shown, said):
    assert said in shown[1]


LOW = (
    "SELECT code, digest_id FROM inventory_alert a JOIN inventory_material m"
    " ON m.id = material_id WHERE a.kind = 'low-stock' AND {} ORDER BY code"
)


def test_two_materials_run_low_and_one_mail_tells_of_both(shown):
    var, _ = shown
    low = rows(var, LOW.format("closed_at IS NOT NULL"))
    assert [code for code, _ in low] == ["coconut-oil", "peppermint-oil"]
    assert len({digest for _, digest in low}) == 1
    told = mail_about(var, "Coconut oil")
    assert len(told) == 1 and "Peppermint" in told[0]


def mail_about(var, words):
    mails = [file.read_text(encoding="utf-8") for file in (var / "mail").iterdir()]
    return [text for text in mails if words in text]


def test_what_ran_low_is_bought_partly_received_and_its_alerts_close(shown):
    var, said = shown
    assert said.count("The alerts closed by themselves.") == 2
    assert rows(var, "SELECT count(*) FROM inventory_purchaseorderline WHERE received > 0") == [
        (1,)
    ]
    assert rows(var, "SELECT sum(amount > received) FROM inventory_purchaseorderline")[0][0] >= 1


def test_the_watch_names_exactly_the_two_prices_that_fell_and_what_restores_them(shown):
    var, _ = shown
    told = [
        json.loads(figures)
        for (figures,) in rows(var, "SELECT figures FROM inventory_alert WHERE kind = 'margin'")
    ]
    assert sorted((each["product"], each["tier"], each["quantity"]) for each in told) == [
        ("calendula-garden", "wholesale", 24),
        ("milk-and-oats", "wholesale", 24),
    ]
    for each in told:
        price, floor, restoring = (
            Decimal(each[name]) for name in ("price", "floor", "restoring_price")
        )
        assert price < floor <= restoring
        restored = rows(
            var,
            "SELECT e.price FROM costing_priceentry e JOIN costing_product p ON p.id = product_id"
            f" WHERE p.code = '{each['product']}' AND from_quantity = 24"
            " ORDER BY effective_from DESC LIMIT 1",
        )
        assert Decimal(restored[0][0]) / 10_000 == restoring
    assert len(mail_about(var, "under the floor price")) == 1


def test_240_bars_are_quoted_accepted_held_and_the_missing_batch_is_planned(shown):
    var, said = shown
    assert rows(var, "SELECT sum(quantity), count(*) FROM costing_quoteline") == [(240, 3)]
    assert rows(var, "SELECT state FROM costing_quote") == [("accepted",)]
    assert len(mail_about(var, "buyer@gull-and-lantern.example")) == 1
    assert "A shop asks for 240 bars" in said
    held = rows(var, "SELECT sum(amount) FROM costing_salesorderhold")[0][0]
    made = rows(
        var,
        "SELECT b.bars, b.planned_here, t.state FROM costing_salesorderbatch b"
        " JOIN recipes_batch t ON t.id = b.batch_id",
    )
    assert held + sum(bars for bars, _, _ in made) == 240
    assert [state for _, here, state in made if here] == ["planned"]


def test_what_the_planned_batch_lacks_is_seen_to_run_low(shown):
    var, _ = shown
    low = [code for code, _ in rows(var, LOW.format("closed_at IS NULL"))]
    assert "shea-butter" in low
    figures = rows(
        var,
        "SELECT figures FROM inventory_alert a JOIN inventory_material m ON m.id = material_id"
        " WHERE code = 'shea-butter' AND a.kind = 'low-stock'",
    )
    assert json.loads(figures[0][0])["projected"] < 0
    assert rows(var, "SELECT DISTINCT kind FROM inventory_alert WHERE closed_at IS NULL") == [
        ("low-stock",)
    ]


def test_a_part_is_shipped_and_its_profit_is_shown(shown):
    var, said = shown
    assert rows(var, "SELECT sum(bars) FROM costing_salesshipmentline") == [(60,)]
    assert "60 bars left in 3 cartons" in said and "Cost of goods" in said


def test_a_lot_is_recalled_and_its_papers_are_printed(shown):
    var, said = shown
    assert "Corner Shop (invented)" in said and "The bars may declare" in said
    papers = {paper.name: paper.read_bytes()[:5] for paper in (var / "demo-papers").iterdir()}
    names = ("batch-sheet.pdf", "bar-labels.pdf", "recall.pdf", "quote.pdf")
    assert papers == dict.fromkeys(names, b"%PDF-")


def test_running_it_twice_does_no_harm(shown):
    var, _ = shown
    before, mails = counts(var), len(list((var / "mail").iterdir()))
    again = manage(var, "demo", "--no-serve")
    assert again.returncode == 0, again.stderr
    assert counts(var) == before
    assert len(list((var / "mail").iterdir())) == mails


def test_the_books_are_proved_and_an_altered_balance_is_named(shown):
    var, _ = shown
    with closing(sqlite3.connect(var / "studio.sqlite3")) as connection, connection:
        connection.execute("UPDATE inventory_lot SET on_hand = on_hand + 1 WHERE code = 'L-00002'")
    failed = manage(var, "prove")
    assert failed.returncode != 0
    assert "L-00002" in failed.stdout + failed.stderr
    with closing(sqlite3.connect(var / "studio.sqlite3")) as connection, connection:
        connection.execute("UPDATE inventory_lot SET on_hand = on_hand - 1 WHERE code = 'L-00002'")
    assert manage(var, "prove").returncode == 0


def test_it_never_mixes_with_somebody_elses_studio(empty_studio):
    with closing(sqlite3.connect(empty_studio / "studio.sqlite3")) as connection, connection:
        columns = ", ".join(
            name
            for _, name, _, notnull, default, key in connection.execute(
                "PRAGMA table_info(inventory_material)"
            )
            if notnull and not key
        )
        values = ", ".join("1" for _ in columns.split(", "))
        connection.execute(f"INSERT INTO inventory_material ({columns}) VALUES ({values})")
    refused = manage(empty_studio, "demo", "--no-serve")
    assert refused.returncode != 0
    assert "already holds a studio" in refused.stderr
