"""Materials, bought or made here: kept as described, or refused with everything that is wrong."""

from collections.abc import Iterator, Mapping
from decimal import Decimal

from django.db import transaction

from inventory.domain.catalog.descriptions import check_material, read_fatty_acids
from inventory.domain.catalog.materials import MADE_HERE, MaterialKind
from inventory.domain.stock.holds import LONGEST_SAID
from inventory.domain.stock.leaves import judged_by, leaf_of
from inventory.errors import MaterialRefusal, NotForYou
from inventory.models.catalog.materials import FattyAcidShare, Material
from inventory.queries.catalog.makers import has_lots_made, makings_of
from inventory.services.catalog.suppliers import weigh_offers_again
from inventory.services.events import ValuesChanged, values_changed
from studio.foundation.doers import By, doer
from studio.foundation.errors import Faults
from studio.foundation.histories import Told, in_words, tell
from studio.foundation.model_fields import described
from studio.foundation.roles import may_decide
from studio.foundation.units.writing import percent
from studio.work.keeping import Expected, Names, changed, faults_of, keep, locked, named


@transaction.atomic
def save_material(
    given: Material,
    names: Names = None,
    *,
    fatty_acids: Mapping[str, Decimal] | None = None,
    reason: str = "",
    by: By = None,
    expected: Expected = None,
) -> Material:
    """Keep a material, a new one whole, of another the values with these names.

    `fatty_acids` maps "C12:0" or "lauric" to a share of all; None leaves them. Without a word on
    `low_stock_alerts` (None) they are on for what is bought, off for what is made here. Raises
    MaterialRefusal with every fault, and ChangedMeanwhile; then nothing changes. `counted` is
    fixed once there is a lot, an offer or a requirement in the old unit, and what a recipe makes
    keeps its kind and unit and has the alkali of its recipe. A changed density weighs again the
    offers that rest on it, and what was made of it is judged again where that rests on what
    changed. An owner alone corrects which alkali it holds, with a `reason`; raises NotForYou.
    """
    material, was = locked(given, names, expected)
    if material.low_stock_alerts is None:
        material.low_stock_alerts = material.kind not in MADE_HERE
    faults = faults_of(material, names)
    check_material(material, faults, by_recipe=_has_recipe_strength(material))
    acids = read_fatty_acids(fatty_acids or {}, faults)
    if was is not None:
        _check_change(faults, was, material, reason, by or doer())
    faults.raise_if_any(MaterialRefusal)
    told: Iterator[Told] = iter(())
    if fatty_acids is not None:
        told = _acids_changed(was.acids if was is not None else {}, acids)
    tell(material, told=told, reason=reason.strip())
    keep(material, names, by=by)
    if fatty_acids is not None:
        _keep_fatty_acids(material, acids)
    if was is not None:
        if material.density_g_ml != was.density_g_ml:
            weigh_offers_again(material, by=by)
        tell_of_values(was, material)
    return material


def add_material(
    *, fatty_acids: Mapping[str, Decimal] | None = None, by: By = None, **values: object
) -> Material:
    """A new material from its columns' values. Raises MaterialRefusal with every fault."""
    blank = changed(Material(), {"low_stock_alerts": None})
    return save_material(changed(blank, values), fatty_acids=fatty_acids, by=by)


def tell_of_values(was: Material, material: Material) -> None:
    """Have what was made of a material judged again, where that rests on what changed of it."""
    values = [(*judged_by(leaf_of(each)), each.piece_mass) for each in (was, material)]
    if values[0] == values[1]:
        return
    change = ValuesChanged(
        subject=f"material:{material.code}",
        name=material.name,
        words=in_words(was, material, among=_JUDGED & set(described(Material))),
        lots=frozenset(material.lots.values_list("pk", flat=True)),
        material=material.pk,
    )
    values_changed.send(Material, change=change)


#: The fields that the values which lye and limits are judged by are taken from.
_JUDGED = frozenset(
    {
        *("name", "kind", "inci_name", "alkali", "purity", "water_share", "piece_mass"),
        *("sv_mg_koh_g", "sv_low_mg_koh_g", "sv_high_mg_koh_g", "acid_naoh_g_per_g"),
        "ifra_category9_max",
    }
)


def _is_another_alkali(was: Material, material: Material) -> bool:
    """Whether it is taken for another alkali than before, by what it is kept as or by its names.

    What a name newly tells of what was taken for none is no correction.
    """
    before, after = leaf_of(was).alkali, leaf_of(material).alkali
    return was.alkali != material.alkali or (bool(before) and before != after)


def _check_change(faults: Faults, was: Material, material: Material, reason: str, by: By) -> None:
    if material.counted != was.counted:
        _check_unit_may_change(faults, material)
    _check_stays_as_made(faults, was, material)
    if not faults and _is_another_alkali(was, material):
        _check_correction(faults, material, reason, by)


def _check_correction(faults: Faults, material: Material, reason: str, by: By) -> None:
    """An owner corrects which alkali a material is, and says why. Raises NotForYou."""
    if not may_decide(by):
        raise NotForYou(
            f"Which alkali {material.name} is decides how much lye is weighed: an owner corrects"
            " it, with a reason.",
            field="alkali",
        )
    if not reason.strip():
        faults.add("reason-missing", "Say why the kind of alkali is corrected.", "reason")
    elif len(reason.strip()) > LONGEST_SAID:
        faults.add("too-long", f"Say it in at most {LONGEST_SAID} characters.", "reason")


def _check_unit_may_change(faults: Faults, material: Material) -> None:
    rows = (material.lots, material.offers, material.requirements)
    if any(related.exists() for related in rows):
        faults.add(
            "unit-fixed",
            "There is stock, an offer or a plan in the old unit: make a new material instead of "
            "counting what was weighed, or weighing what was counted.",
            "counted",
        )


def _has_recipe_strength(material: Material) -> bool:
    """Whether it is a lye by its recipe, of which nobody stated a strength. No query else."""
    if material.pk is None or not material.alkali or material.purity is not None:
        return False
    return any(making.alkali == material.alkali for making in makings_of(material.pk))


def _check_stays_as_made(faults: Faults, was: Material, material: Material) -> None:
    """What is made here is no other thing by a word, and holds the alkali that went into it."""
    differs = [name for name in _AS_MADE if getattr(was, name) != getattr(material, name)]
    if not differs:
        return
    makings = makings_of(material.pk)
    if not makings and not has_lots_made(material.pk):
        return
    by = " and ".join(making.words for making in makings)
    told = f"It is what {by} makes" if makings else "Lots of it were made here"
    for name in differs:
        # What older rows have wrong may be set right.
        if getattr(material, name) not in {getattr(making, name) for making in makings}:
            faults.add("made-here", f"{told}: {_AS_MADE[name]}", name)


#: What stays of a material that is made here, and where else it is changed.
_AS_MADE = {
    "kind": "it stays what it is. Make a new material of anything else.",
    "counted": "its unit stays. Make a new material of anything else.",
    "alkali": "its alkali is what went into it. Write a new version of its recipe to change that.",
}


def _acids_changed(was: Mapping[str, Decimal], now: Mapping[str, Decimal]) -> Iterator[Told]:
    for acid in dict.fromkeys((*was, *now)):
        if was.get(acid) != now.get(acid):
            before, after = (percent(of[acid], 4) if acid in of else "" for of in (was, now))
            yield f"Fatty acid {acid}", before, after


def _keep_fatty_acids(material: Material, acids: dict[str, Decimal]) -> None:
    """Replace the shares. Two queries."""
    material.fatty_acids.all().delete()
    FattyAcidShare.objects.bulk_create(
        FattyAcidShare(material=material, acid=acid, share=share) for acid, share in acids.items()
    )


@transaction.atomic
def ensure_made_material(
    *, code: str, name: str, kind: MaterialKind, counted: bool = False
) -> Material:
    """The material with this code, made now if there is none; never bought, so no alerts.

    Raises MaterialRefusal when the code belongs to a material of another kind.
    """
    if kind not in MADE_HERE:
        raise MaterialRefusal(f"A {kind} is bought, not made here.", field="kind")
    material, _ = Material.objects.get_or_create(
        code=code,
        defaults={
            "name": name,
            "kind": kind.value,
            "counted": counted,
            "low_stock_alerts": kind is MaterialKind.INTERMEDIATE,
        },
    )
    if material.kind != kind.value or material.counted != counted:
        raise MaterialRefusal(
            f"The code {code} already belongs to {material.name}, a {material.kind}.", field="code"
        )
    return material


@transaction.atomic
def keep_as_lye(material_id: int, alkali: str, *, by: By = None) -> None:
    """Say of what is made here which alkali it holds ("NaOH" or "KOH")."""
    was = Material.objects.select_for_update().get(pk=material_id)
    material = changed(was, {"alkali": alkali})
    material.revision += 1
    named(material, by)
    material.save(update_fields=["alkali", "revision", "updated_at"])
    tell_of_values(was, material)
