"""What walks over soap do with a batch, and how they keep what they need of it for the balance."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal as D
from fractions import Fraction as F
from functools import wraps

from django.db.models import F as Column
from django.utils import timezone
from hypothesis import currently_in_test_context, event

from inventory.domain.catalog.unusual import UNUSUAL
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.queries.stock.candidates import ChosenLot
from inventory.queries.stock.contents import contents_of
from inventory.services.stock.certificates import certify_lot
from recipes.domain.formulas.scaled import BatterTarget, FatTarget
from recipes.errors import WorstNotAccepted
from recipes.models.bench.batches import Batch
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from recipes.services.scaling.planning import plan_batch
from studio.foundation.errors import Refusal
from tests.inventory.making import KG, TODAY
from tests.scenarios.soap_balance import MOST_SCENT
from tests.scenarios.soap_makings import Making
from tests.scenarios.soap_shelf import BLENDS, CURE_DAYS, fill_soap_shelf
from tests.scenarios.soap_truth import CLOSE, reckon


class SoapBench:
    """A studio that makes soap: by right and by wrong steps, of which the wrong are refused."""

    def __init__(self, shelf, loaded, accounts):
        super().__init__()
        self.shelf, self.loaded, self.people = shelf, loaded, accounts
        self.on = TODAY
        self.recipe_of, self.chosen = {}, set()
        self.paid = 0

    def furnish(self):
        """Two lots of each raw material, all blends, lye that steamed, sound soap with ends, and
        soap that is unsafe: lye-heavy, with too much scent out of a blend, or without fat."""
        self.paid += fill_soap_shelf(self.shelf)
        for code in BLENDS:
            self.blend(Making(code, kilos=8))
        self.blend(Making("lye", kilos=2, out=D("0.94")))
        self.soap(Making("plain", kilos=3))
        self.soap(Making("plain", slip=D("1.09"), far="cut"))
        self.soap(Making("dual", slip=D("1.09"), far="cut"))
        self.soap(Making("stored", part="scented", slip=D("2.5"), far="cut"))
        self.soap(Making("weak", part="olive", slip=D(0), far="cut"))
        for batch in Batch.objects.exclude(state="cured"):
            assert batch.poured_lot.state == "blocked"

    def blend(self, made):
        batch = self.planned(f"make-{made.code}", BatterTarget(made.kilos * KG))
        if batch and self.reserved(batch):
            self.pour(batch, made)

    def soap(self, made):
        batch = self.planned(made.code, FatTarget(made.kilos * KG))
        if batch is None or not self.reserve(batch, made):
            return
        if made.far != "reserved" and self.pour(batch, made):
            self.finish(batch, made)

    def planned(self, code, target):
        found = self.tried(lambda: make_plan(self.loaded[code], Wish(target=target, bars=8)))
        if found is None:
            return None
        batch = plan_batch(found, planned_on=self.on)
        self.recipe_of[batch.holder] = code
        return batch

    def reserve(self, batch, made):
        """Whatever is there, or with a lot of one material that is named, held or not."""
        chosen = {}
        if made.own is not None:
            rows = self.rows(batch)
            row = rows[made.own % len(rows)]
            lots = list(Lot.objects.filter(material=row.material_id).order_by("pk"))
            if lots:
                lot = lots[made.own // len(rows) % len(lots)]
                chosen = {row.material_id: [ChosenLot(code=lot.code)]}
        by = self.chooser(made.own)
        on = timezone.localdate() if made.day == "now" else self.on
        held = self.reserved(batch, accepts=made.accepts, chosen=chosen, on=on, by=by)
        if held:
            self.keep_choice(batch, [lot for some in chosen.values() for lot in some], by)
        return held

    def reserved(self, batch, *, accepts=True, **asked):
        """Every reservation of a walk goes through here."""
        return self.asked(
            lambda figure: reserve_batch(batch.code, accept_worst=figure, **asked), accepts=accepts
        )

    def asked(self, act, *, accepts):
        """Tried as a person does: the figure that a refusal tells is accepted, or it is left."""
        figures = []

        @wraps(act)
        def first():
            try:
                return act(None)
            except WorstNotAccepted as refusal:
                (fault,) = refusal.faults
                figures.append(D(fault.details["worst"]))
                raise

        @wraps(act)
        def again():
            try:
                return act(figures[0])
            except WorstNotAccepted as refusal:
                raise AssertionError("the figure that was told is refused") from refusal

        done = self.tried(first)
        return self.tried(again) if figures and accepts else done

    def chooser(self, own):
        """Who names a lot: an owner may choose what is unsafe for a rebatch, others may not."""
        return self.people["maker" if own is not None and own % 4 == 3 else "owner"]

    def keep_choice(self, batch, lots, by):
        if by == self.people["owner"]:
            self.chosen |= {(batch.holder, lot.code) for lot in lots}

    def pour(self, batch, made):
        """With a slip at one line; `out` of what was to go in is weighed as poured."""
        rows = self.rows(batch)
        row = self.slipped(rows, made.part)
        actual = {} if made.slip == 1 else {row.position: int(row.planned * made.slip)}
        planned = sum(row.planned for row in rows if not row.material.counted)
        poured = Poured(
            on=self.day(made.day, self.on),
            actual=actual,
            output_ng=None if made.out is None else int(planned * made.out),
        )
        done = self.asked(
            lambda figure: pour_batch(batch.code, replace(poured, accept_worst=figure)),
            accepts=made.accepts,
        )
        if done and done.batch.fats:
            soap = reckon(self.shelf.recipes, self.recipe_of).soaps[batch.holder]
            if soap.superfat is None:
                assert done.safety is None
                return done
            assert abs(F(done.safety.superfat) - soap.superfat) < CLOSE
            if made.day == "now" and not otherwise(batch):
                # By a plan that is known to be unsafe nobody pours.
                assert soap.superfat >= -CLOSE
                assert soap.scent <= MOST_SCENT * (1 + CLOSE)
        return done

    def finish(self, batch, made):
        batch = Batch.objects.get(pk=batch.pk)
        if batch.state == "poured" and made.far != "poured":
            poured = batch.poured_lot.on_hand
            cut = Cut(
                on=self.day(made.day, self.on),
                bars_good=8,
                bars_rejected=1,
                good_weight=int(poured * made.good),
                ends_weight=poured // 10,
                keep_ends=True,
                reason="walked",
            )
            self.tried(lambda: cut_batch(batch.code, cut))
        if made.far in ("early", "cured"):
            on, why = (self.on, "walked") if made.far == "early" else (self.cured_on, "")
            cured = Cured(on=self.day(made.day, on), early_reason=why)
            self.tried(lambda: cure_batch(batch.code, cured))

    def tried(self, act):
        """What came of it, or None when it was refused; a refusal has written nothing."""
        before = StockEntry.objects.count()
        try:
            done = act() or True
        except Refusal as refusal:
            # Nothing around the act rolls back: each takes back what it wrote itself.
            assert StockEntry.objects.count() == before
            told(act, f"refused, {type(refusal).__name__}")
            return None
        told(act, "done")
        return done

    def certify(self, lot, stated):
        """What is unusual is kept once an owner confirms it, and only then."""
        if self.tried(lambda: certify_lot(lot.pk, stated)) is None:
            certify_lot(lot.pk, stated, confirmed=list(UNUSUAL), by=self.people["owner"])

    def stated(self, code, purity, value, lot=None):
        """What a certificate says; stored lye is titrated."""
        if purity is not None and code in ("naoh", "koh"):
            return {"purity": purity}
        if purity is not None and code in ("lye", "thin"):
            found = contents_of([lot.pk])[lot.pk].naoh.usual
            return {"purity": round(found * purity, 6)} if found > D("0.02") else {}
        if value is not None and code in ("olive", "coconut", "twice"):
            return {"sv_mg_koh_g": value}
        return {}

    def rows(self, batch):
        """What is weighed before the pour, the alkalis first."""
        rows = batch.lines.exclude(stage="pack").select_related("material").order_by("position")
        return sorted(rows, key=lambda row: row.part in ("line", "water"))

    def slipped(self, rows, part):
        """The row at which it slips: by a number, or by its material."""
        if isinstance(part, int):
            return rows[part % len(rows)]
        return next(row for row in rows if row.material.code == part)

    @property
    def cured_on(self):
        return self.on + timedelta(days=CURE_DAYS)

    def late(self, lot):
        return max(self.on, lot.received_on)

    def day(self, word, then):
        today = timezone.localdate()
        others = {"now": today, "before": self.on - timedelta(days=1)}
        return {"then": then, **others, "ahead": today + timedelta(days=2)}[word]

    def lot(self, n):
        lots = Lot.objects.select_related("material").order_by("-pk")
        return lots[n % lots.count()]

    def batch(self, n, *states):
        found = list(Batch.objects.filter(state__in=states).order_by("pk"))
        return found[n % len(found)] if found else None


def otherwise(batch):
    """Whether a poured batch was weighed otherwise than planned."""
    rows = batch.lines.exclude(stage="pack")
    return rows.exclude(actual=Column("planned")).exists()


def told(act, what):
    """For the statistics of the run, by the step that tried it."""
    if currently_in_test_context():
        event(f"{act.__qualname__.split('.')[-3]}: {what}")
