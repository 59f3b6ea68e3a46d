"""A round of alerts over 100,000 materials, shared by one worker and by two.

Run with: python -m pytest tests/benchmarks/bench_alert_fanout.py -o python_files='bench_*.py' -s
The workers are real processes on the embedded queue; the time is from the start of the round to its
one mail. FANOUT_MATERIALS names another number of materials.
"""

import os
import time
from datetime import timedelta

from django.db import connection
from django.utils import timezone

from inventory.models.alerts.alerts import Alert
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from inventory.services.alerts.rounds import start_round
from studio.celery import app
from studio.work.digests import Digest
from studio.work.jobs import Job
from tests.inventory.making import KG
from tests.waiting import eventually
from tests.workers import Worker

MATERIALS = int(os.environ.get("FANOUT_MATERIALS", "100000"))
PART = 5_000
PATIENCE_SECONDS = 540


def a_shelf_of(materials):
    """Each with one lot, every hundredth low; written in bulk, for the books do not matter here."""
    today = timezone.localdate()
    rows = [
        Material(code=f"m-{n:06}", name=f"Material {n}", kind="fat", reorder_point=low(n))
        for n in range(materials)
    ]
    made = Material.objects.bulk_create(rows, batch_size=1_000)
    lots = [
        Lot(code=f"l-{n:06}", material=material, received_on=today, on_hand=KG, cost=1)
        for n, material in enumerate(made)
    ]
    Lot.objects.bulk_create(lots, batch_size=1_000)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def low(number):
    return (2 if number % 100 == 0 else 0) * KG


def seconds_with(count, database, folder):
    Alert.objects.all().delete()
    Digest.objects.all().delete()
    Job.objects.all().delete()
    app.control.purge()
    workers = [
        Worker(database_url=database.url, log=folder / f"worker-{count}-{n}.log")
        for n in range(count)
    ]
    try:
        for worker in workers:
            worker.wait_until_ready()
        begun = time.perf_counter()
        job = start_round(now=timezone.now(), by=None, part_size=PART)
        eventually(
            Job.objects.filter(pk=job.pk, state="done").exists,
            what="the round is done",
            seconds=PATIENCE_SECONDS,
            more=workers[0].log,
        )
        return time.perf_counter() - begun
    finally:
        for worker in workers:
            worker.stop()
        app.control.purge()


def test_one_worker_and_two(database, tmp_path, capsys):
    a_shelf_of(MATERIALS)
    spent = {count: seconds_with(count, database, tmp_path) for count in (1, 2)}
    assert Alert.objects.count() == MATERIALS // 100 and Digest.objects.count() == 1
    assert Alert.objects.filter(opened_at__gte=timezone.now() - timedelta(hours=1)).exists()
    with capsys.disabled():
        print(  # noqa: T201 - the figures are what the benchmark is run for
            f"\n{MATERIALS} materials in parts of {PART} on {database.name}: one worker "
            f"{spent[1]:.1f} s, two {spent[2]:.1f} s, {spent[1] / spent[2]:.2f} times as fast"
        )
