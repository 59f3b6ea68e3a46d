"""What the tests of the bench share: a reserved batch, and readings sent as a browser does."""

from django.test import Client
from django.urls import reverse

from inventory.models.stock.lots import Lot
from recipes.domain.bench.cautions import READY
from recipes.models.bench.batches import BatchLine
from recipes.services.bench.batches import reserve_batch
from tests.inventory.making import KG
from tests.read_pages import read
from tests.recipes.making import make_bench, planned, stock
from tests.studio.web.api.people import person

G = KG // 1000


def signed_in(role="maker"):
    client = Client()
    client.force_login(person(role))
    return client


def reserved(bench=None):
    bench = bench or make_bench()
    if not Lot.objects.exists():
        stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    return batch


def at(name, batch, **query):
    return reverse(name, args=[batch.code], query=query or None)


def line_of(batch, code):
    return BatchLine.objects.get(batch=batch, material__code=code)


def grams(line, more=0):
    return f"{line.planned // G + more} g"


def confirm(client, batch, **more):
    ready = [caution.code for caution in READY]
    return client.post(at("bench-cautions-page", batch), {"ready": ready, **more})


def weigh(client, batch, code, amount, key="k", **more):
    line = line_of(batch, code)
    sent = {"position": line.position, "amount": amount, "once": f"{key}-{code}", **more}
    return client.post(at("bench-weigh-page", batch), sent)


def text(response):
    return read(response)
