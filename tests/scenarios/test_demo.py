"""The demonstration as a person runs it: in a process of its own, with a real worker."""

import sqlite3
from contextlib import closing

import pytest

from tests.scenarios.commands import manage

TABLES = (
    "inventory_lot",
    "inventory_stockentry",
    "inventory_delivery",
    "inventory_alert",
    "inventory_digest",
    "recipes_batch",
    "recipes_mold",
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
        "0 differences",
    ],
)
def test_the_walk_shows_the_main_job(shown, said):
    assert said in shown[1]


def test_two_materials_run_low_and_one_mail_tells_of_both(shown):
    var, _ = shown
    low = rows(
        var,
        "SELECT code, digest_id FROM inventory_alert a JOIN inventory_material m"
        " ON m.id = material_id WHERE a.kind = 'low-stock' ORDER BY code",
    )
    assert [code for code, _ in low] == ["coconut-oil", "peppermint-oil"]
    assert len({digest for _, digest in low}) == 1
    mails = list((var / "mail").iterdir())
    assert len(mails) == 1
    text = mails[0].read_text(encoding="utf-8")
    assert "Coconut oil" in text and "Peppermint" in text


def test_what_ran_low_is_bought_partly_received_and_its_alerts_close(shown):
    var, said = shown
    assert "The alerts closed by themselves." in said
    assert rows(var, "SELECT count(*) FROM inventory_alert WHERE closed_at IS NULL") == [(0,)]
    assert rows(var, "SELECT count(*) FROM inventory_purchaseorderline WHERE received > 0") == [
        (1,)
    ]
    assert rows(var, "SELECT sum(amount > received) FROM inventory_purchaseorderline")[0][0] >= 1


def test_a_lot_is_recalled_and_its_papers_are_printed(shown):
    var, said = shown
    assert "Corner Shop (invented)" in said and "The bars may declare" in said
    papers = {paper.name: paper.read_bytes()[:5] for paper in (var / "demo-papers").iterdir()}
    assert papers == dict.fromkeys(("batch-sheet.pdf", "bar-labels.pdf", "recall.pdf"), b"%PDF-")


def test_running_it_twice_does_no_harm(shown):
    var, _ = shown
    before = counts(var)
    again = manage(var, "demo", "--no-serve")
    assert again.returncode == 0, again.stderr
    assert counts(var) == before
    assert len(list((var / "mail").iterdir())) == 1


def test_the_books_are_proved_and_an_altered_balance_is_named(shown):
    var, _ = shown
    assert manage(var, "prove").returncode == 0
    with closing(sqlite3.connect(var / "studio.sqlite3")) as connection, connection:
        connection.execute("UPDATE inventory_lot SET on_hand = on_hand + 1 WHERE code = 'L-00002'")
    failed = manage(var, "prove")
    assert failed.returncode != 0
    assert "L-00002" in failed.stdout + failed.stderr
    with closing(sqlite3.connect(var / "studio.sqlite3")) as connection, connection:
        connection.execute("UPDATE inventory_lot SET on_hand = on_hand - 1 WHERE code = 'L-00002'")
    assert manage(var, "prove").returncode == 0


def test_it_never_mixes_with_somebody_elses_studio(tmp_path):
    assert manage(tmp_path, "migrate").returncode == 0
    with closing(sqlite3.connect(tmp_path / "studio.sqlite3")) as connection, connection:
        columns = ", ".join(
            name
            for _, name, _, notnull, default, key in connection.execute(
                "PRAGMA table_info(inventory_material)"
            )
            if notnull and not key
        )
        values = ", ".join("1" for _ in columns.split(", "))
        connection.execute(f"INSERT INTO inventory_material ({columns}) VALUES ({values})")
    refused = manage(tmp_path, "demo", "--no-serve")
    assert refused.returncode != 0
    assert "already holds a studio" in refused.stderr
