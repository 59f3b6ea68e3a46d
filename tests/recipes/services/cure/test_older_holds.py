"""A studio that knew a status alone gets the holds that its statuses stood for."""

from decimal import Decimal

from django.apps import apps

from inventory.domain.stock.holds import Cause, NewHold
from inventory.models.shipping.recalls import Recall
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.services.stock.holds import hold
from inventory.services.stock.proof import prove_books
from recipes.models.bench.batches import BatchLine
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cut, cut_batch
from recipes.services.cure.older_holds import holds_from_older
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.recipes.making import make_bench, planned, stock


def forget(state, reason, **found):
    """The lots as they stood before: a status with its reason, and no hold."""
    Lot.objects.filter(**found).update(state=state, state_reason=reason)


def held():
    return {
        (each.lot.code, each.cause, each.reference)
        for each in Hold.objects.filter(lifted_at=None).select_related("lot")
    }


def test_older_lots_get_their_holds(database):
    bench = make_bench()
    stock(bench)
    sound, strong, waiting = planned(bench), planned(bench), planned(bench)
    for batch in (sound, strong, waiting):
        reserve_batch(batch.code)
    pour_batch(sound.code, Poured(on=TODAY))
    cut_batch(sound.code, Cut(on=TODAY, bars_good=7))
    naoh = BatchLine.objects.get(batch=strong, part="naoh")
    more = {naoh.position: int(naoh.planned * Decimal("1.2"))}
    pour_batch(strong.code, Poured(on=TODAY, actual=more))
    pour_batch(waiting.code, Poured(on=TODAY))
    bought = [make_lot(make_material(), KG) for _ in range(4)]
    made = make_lot(make_material(), KG, made_of={bought[2].pk: 1})
    Recall.objects.create(code="R-00001", lot=bought[2], reason="rancid")
    Hold.objects.all().delete()
    forget("released", "")
    forget("quarantine", "curing", code=sound.code)
    forget("blocked", "Lye-heavy: it burns", code=f"{strong.code}-poured")
    forget("quarantine", "", pk=bought[0].pk)
    forget("blocked", "smells", pk=bought[1].pk)
    forget("blocked", "recall R-00001: rancid", pk__in=[bought[2].pk, made.pk])
    holds_from_older(apps)
    assert held() == {
        (f"{sound.code}-poured", "cure", sound.holder),
        (sound.code, "cure", sound.holder),
        (f"{strong.code}-poured", "cure", strong.holder),
        (f"{strong.code}-poured", "lye-heavy", strong.holder),
        (f"{waiting.code}-poured", "cure", waiting.holder),
        (bought[0].code, "arrival", ""),
        (bought[1].code, "by-hand", ""),
        (bought[2].code, "recall", "recall:R-00001"),
        (made.code, "recall", "recall:R-00001"),
    }
    assert Hold.objects.get(cause="lye-heavy").reason == "Lye-heavy: it burns"
    assert Hold.objects.get(cause="by-hand").reason == "smells"
    assert Lot.objects.get(pk=bought[3].pk).state == "released"
    assert prove_books().holds


def test_what_stood_here_may_be_held_anew(database):
    """The rows are those of today: they are lifted and added to as any other."""
    lot = make_lot(make_material(), KG)
    forget("blocked", "smells")
    holds_from_older(apps)
    hold([lot.pk], NewHold(cause=Cause.RECALL, reason="r", reference="recall:R-1"), on=TODAY)
    assert Lot.objects.get().state_reason == "smells; r"
