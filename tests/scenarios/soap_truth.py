"""What is in each lot and what it cost, reckoned anew in fractions from what was entered.

Nothing here calls a rule of the product: it reads entries, certificates and what was written of
materials and recipes, and works out mass, pure alkali, superfat and fragrance by hand. What went
into a lot is what its document consumed, not what the links say.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from fractions import Fraction as F

from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot

#: Molar masses in g/mol by the standard atomic weights (H 1.008, C 12.011, O 15.999, Na 22.98977,
#: K 39.0983).
NAOH, KOH, SODA = F("39.99677"), F("56.1053"), F("105.98854")
#: The product's molar masses have four places, so what is reckoned differs in the fifth digit.
CLOSE = F(1, 20_000)


@dataclass
class Inside:
    """A unit of mass: pure alkali in mol per g, what it saponifies in mol per g, scent by share."""

    alkali: F = F(0)
    demand: F = F(0)
    acid: F = F(0)
    carbonate: F = F(0)
    scent: F = F(0)

    def added(self, other, factor):
        return Inside(
            **{name: value + getattr(other, name) * factor for name, value in vars(self).items()}
        )


@dataclass
class Soap:
    """A pour: its true superfat and share of scent, by what is known of its lots today.

    Without fat there is no superfat, and it is no soap.
    """

    superfat: F | None
    scent: F


@dataclass
class Truth:
    """By lot id: what is inside; and by document, what was poured."""

    inside: dict[int, Inside] = field(default_factory=dict)
    soaps: dict[str, Soap] = field(default_factory=dict)
    steam: dict[int, F] = field(default_factory=dict)


def reckon(recipes, batches):
    """All lots in the order in which they came to be. `recipes` by code of the formula, `batches`
    say which recipe a document was made by."""
    truth = Truth()
    lots = {lot.pk: lot for lot in Lot.objects.select_related("material").order_by("pk")}
    used, made = _moved(lots)
    for pk, lot in lots.items():
        document = made.get(pk)
        if document is None:
            truth.inside[pk] = _bought(lot)
            continue
        recipe = recipes[batches[document]]
        if lot.material.kind == "batter":
            parts = used[document]["poured"]
            truth.inside[pk], truth.soaps[document] = _poured(lot, parts, truth, recipe, lots)
        elif lot.code.endswith("-made"):
            parts = used[document]["poured"]
            truth.inside[pk], truth.steam[pk] = _blended(lot, parts, truth, recipe)
        else:  # bars and ends are the poured soap in another form
            (poured,) = used[document]["cut"]
            share = F(0) if lot.material.counted else F(1)
            truth.inside[pk] = Inside().added(truth.inside[poured], share)
    return truth


def _moved(lots):
    """Of each document, what it consumed at each step by lot; and which lots it made."""
    used = defaultdict(lambda: defaultdict(lambda: defaultdict(int)))
    made = {}
    for entry in StockEntry.objects.filter(reference__startswith="batch:").order_by("pk"):
        if entry.verb == "produce":
            made[entry.lot_id] = entry.reference
        elif entry.verb == "consume" and lots[entry.lot_id].material.kind != "packaging":
            used[entry.reference][entry.note][entry.lot_id] -= entry.on_hand
    return used, made


def _bought(lot):
    material = lot.material
    purity, sv = lot.purity, lot.sv_mg_koh_g
    purity = F(material.purity or 0) if purity is None else F(purity)
    sv = F(material.sv_mg_koh_g or 0) if sv is None else F(sv)
    scent = F(1) if material.kind == "fragrance" else F(0)
    return Inside(
        alkali=purity / {"NaOH": NAOH, "KOH": KOH}[material.alkali] if material.alkali else F(0),
        demand=sv / 1000 / KOH,
        acid=F(material.acid_naoh_g_per_g or 0) / NAOH,
        carbonate=2 / SODA if "Sodium Carbonate" in material.inci_name else F(0),
        scent=scent,
    )


def _mixed(parts, truth):
    whole = sum(parts.values())
    mixed = Inside()
    for lot, mass in parts.items():
        mixed = mixed.added(truth.inside[lot], F(mass, whole))
    return mixed, whole


def _blended(lot, parts, truth, recipe):
    """What was planned to stay in the pot is loss of the whole; beyond it steam, of lye alone."""
    mixed, whole = _mixed(parts, truth)
    out, molar = lot.received_amount, {"NaOH": NAOH, "KOH": KOH}.get(lot.material.alkali, NAOH)
    steam = F(0)
    if mixed.alkali:
        # No more water leaves than would leave the alkali dry; the rest was lost as a whole.
        dry = out * (1 / (mixed.alkali * molar) - 1)
        steam = max(min(whole * (1 - recipe.loss) - out, dry), F(0))
    strength = min(F(1), (out + steam) / whole) * whole / out
    inside = Inside().added(mixed, strength)
    if lot.purity is not None:  # titrated
        inside.alkali = F(lot.purity) / molar
    if lot.sv_mg_koh_g is not None:
        inside.demand = F(lot.sv_mg_koh_g) / 1000 / KOH
    return inside, steam


def _poured(lot, parts, truth, recipe, lots):
    """Alkali against the fats that the recipe sets its lye on; what is over is left in the soap."""
    mixed, whole = _mixed(parts, truth)
    fats = {pk: mass for pk, mass in parts.items() if lots[pk].material.code in recipe.fats}
    demand = sum((truth.inside[pk].demand * mass for pk, mass in fats.items()), F(0))
    alkali, acid = mixed.alkali * whole, mixed.acid * whole
    taken = max(acid - mixed.carbonate * whole, F(0))
    finished = whole * (1 - recipe.cure_loss)
    superfat = 1 - (alkali - taken) / demand if demand else None
    soap = Soap(superfat=superfat, scent=mixed.scent * whole / finished)
    left = max(alkali - taken - mixed.demand * whole, F(0))
    # What the scale shows beyond what went in is neither alkali nor scent.
    there = F(min(lot.received_amount, whole), lot.received_amount)
    return Inside(alkali=left / whole * there, scent=mixed.scent * there), soap
