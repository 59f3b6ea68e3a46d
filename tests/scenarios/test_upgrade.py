"""A studio that upgrades keeps its open low-stock alerts, now as alerts of any kind."""

import json
import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
BEFORE = "0008_lot_allergens"
MOMENT = "2026-03-02 12:00:00"
KG = 10**12


def migrate(var, *target):
    subprocess.run(
        [sys.executable, "manage.py", "migrate", "-v0", *target],
        cwd=ROOT,
        env={**os.environ, "STUDIO_VAR": str(var), "DJANGO_SETTINGS_MODULE": "studio.settings"},
        check=True,
        stdin=subprocess.DEVNULL,
    )


def insert(database, table, **values):
    names, marks = ", ".join(values), ", ".join("?" * len(values))
    database.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", list(values.values()))


def required(database, table):
    """A neutral value for every column that must have one."""
    columns = database.execute(f"PRAGMA table_info({table})").fetchall()
    return {
        name: (MOMENT if kind == "datetime" else "" if "char" in kind or kind == "text" else 0)
        for _, name, kind, must, default, key in columns
        if must and default is None and not key
    }


def test_low_stock_alerts_become_alerts_with_figures(tmp_path):
    migrate(tmp_path, "inventory", BEFORE)
    file = tmp_path / "studio.sqlite3"
    with closing(sqlite3.connect(file)) as old, old:
        material = {**required(old, "inventory_material"), "code": "olive", "name": "Olive oil"}
        insert(old, "inventory_material", **{**material, "id": 7, "kind": "fat"})
        figures = {"on_hand": 3 * KG, "projected": KG + 1, "reorder_point": 5 * KG}
        alert = {**required(old, "inventory_lowstockalert"), **figures}
        insert(old, "inventory_lowstockalert", **{**alert, "material_id": 7, "reason": "Low."})
    migrate(tmp_path)
    with closing(sqlite3.connect(file)) as new:
        (row,) = new.execute(
            "SELECT kind, subject, name, material_id, reason, closed_at, figures"
            " FROM inventory_alert"
        )
    assert row[:6] == ("low-stock", "material:olive", "Olive oil", 7, "Low.", None)
    kept = json.loads(row[6])
    assert {name: kept[name] for name in figures} == figures
    assert (kept["unit"], kept["quarantine"]) == ("g", 0)
