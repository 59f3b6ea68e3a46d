"""Whether a formula and its lye can be made: every fault at once, the unusual as notices."""

from collections.abc import Iterator
from decimal import Decimal

from inventory.domain.catalog.materials import RANGES, MaterialKind
from recipes.domain.chemistry import lye
from recipes.domain.formulas.formula import (
    BATTER_STAGES,
    ONE,
    ZERO,
    Alkali,
    Basis,
    Formula,
    Ingredient,
    Line,
    Notice,
    Stage,
    check_portions,
)
from recipes.errors import FormulaRefusal
from studio.foundation.errors import Faults
from studio.foundation.units.writing import percent

GREATEST_SUPERFAT = Decimal("0.30")
WEAKEST_LYE = Decimal("0.15")
PURE = RANGES["alkali_purity"]
#: Values of an ingredient -> what bounds them of the material that it is.
_BOUNDED = {
    "acid_naoh_g_per_g": RANGES["acid_naoh_g_per_g"],
    "density_g_ml": RANGES["density_g_ml"],
    "density_temperature_c": RANGES["density_temperature_c"],
    "ifra_category9_max_share": RANGES["ifra_category9_max"],
}
LEAST_AMOUNT, GREATEST_AMOUNT = Decimal("0.000001"), Decimal(10_000_000)
GREATEST_LOSS = Decimal("0.50")
#: Of a lye concentration that is worked out; those that are set have fewer.
REACHED_PLACES = 12
#: Common practice, no source: lye of 25 to 40 % by mass, superfat up to 20 %.
USUAL_LYE = (Decimal("0.25"), Decimal("0.40"))
USUAL_SUPERFAT = Decimal("0.20")
_PIECE_BASES = frozenset({Basis.PIECE_PER_FATS, Basis.FIXED, Basis.PER_BAR})
_BATTER_BASES = frozenset({Basis.OF_BATTER, Basis.OF_PORTION})
_FAT_KINDS = frozenset({MaterialKind.FAT, MaterialKind.INTERMEDIATE})


def check_alkali(alkali: Alkali, faults: Faults) -> None:
    """Add what is wrong with the settings of the lye; fields are below "alkali"."""
    check_range(alkali.superfat, ZERO, GREATEST_SUPERFAT, "alkali.superfat", faults)
    check_range(alkali.koh_share, ZERO, ONE, "alkali.koh_share", faults)
    usable = True
    for name in ("naoh_purity", "koh_purity"):
        usable &= check_range(getattr(alkali, name), PURE.low, PURE.high, f"alkali.{name}", faults)
    target = alkali.lye_concentration
    if not (target.is_finite() and WEAKEST_LYE < target <= lye.STRONGEST_LYE):
        faults.add(
            "lye-concentration-outside",
            f"A lye concentration must be above {percent(WEAKEST_LYE)} and at most"
            f" {percent(lye.STRONGEST_LYE)}: stronger lye does not stay dissolved.",
            "alkali.lye_concentration",
        )
        usable = False
    if alkali.masterbatch_strength is not None and usable:
        _check_masterbatch(alkali, alkali.masterbatch_strength, faults)


def _check_masterbatch(alkali: Alkali, strength: Decimal, faults: Faults) -> None:
    path = "alkali.masterbatch_strength"
    if not (strength.is_finite() and 0 < strength <= lye.STRONGEST_LYE):
        faults.add(
            "masterbatch-strength-outside",
            f"A masterbatch holds above 0 and at most {percent(lye.STRONGEST_LYE)} NaOH by mass.",
            path,
        )
        return
    if alkali.koh_share == ONE:
        faults.add(
            "masterbatch-without-naoh",
            "All the alkali is KOH, so a masterbatch of NaOH gives nothing.",
            path,
        )
        return
    reachable = _strongest_from_masterbatch(alkali, strength)
    if reachable < alkali.lye_concentration:
        faults.add(
            "masterbatch-too-weak",
            f"The masterbatch holds {percent(strength)} NaOH, so the lye reaches at most"
            f" {percent(reachable)}; the formula asks for {percent(alkali.lye_concentration)}."
            " Water can be added but not taken out: use a stronger masterbatch, dry alkali, or a"
            f" lye concentration of {percent(reachable)} or less.",
            path,
            reachable=str(reachable),
            target=str(alkali.lye_concentration),
        )


def _strongest_from_masterbatch(alkali: Alkali, strength: Decimal) -> Decimal:
    """Concentration of masterbatch and dry KOH with no water added.

    Rounded where no setting has places any more: what is divided and multiplied again comes back a
    hair off, and a masterbatch is never too weak for lye of just its strength.
    """
    pure = lye.pure_alkali(
        demand_koh=ONE, superfat=ZERO, acid_naoh=ZERO, koh_share=alkali.koh_share
    )
    found = pure.mass / (pure.naoh / strength + pure.koh / alkali.koh_purity)
    return round(found, REACHED_PLACES)


def check_range(value: Decimal, low: Decimal, high: Decimal, path: str, faults: Faults) -> bool:
    """Add a fault unless a share lies from `low` to `high`; say whether it does."""
    if value.is_finite() and low <= value <= high:
        return True
    faults.add("outside-range", f"Must be from {percent(low)} to {percent(high)}.", path)
    return False


def check_formula(formula: Formula) -> tuple[Notice, ...]:
    """Refuse a formula that cannot be made, naming every fault; return what is only unusual.

    Raises `FormulaRefusal`; its faults carry paths such as "lines.2.amount".
    """
    faults = Faults()
    for position, line in enumerate(formula.lines):
        _check_line(line, f"lines.{position}", faults)
    _check_sums(formula, faults)
    check_portions(
        formula.portions,
        (
            (f"lines.{i}", line.portion or "")
            for i, line in enumerate(formula.lines)
            if line.stage is Stage.PORTION
        ),
        faults,
    )
    check_alkali(formula.alkali, faults)
    for name in ("cure_loss_share", "pot_loss_share"):
        check_range(getattr(formula, name), ZERO, GREATEST_LOSS, name, faults)
    faults.raise_if_any(FormulaRefusal)
    return tuple(_notices(formula))


def _check_line(line: Line, path: str, faults: Faults) -> None:
    ingredient, name = line.ingredient, line.ingredient.name
    if not (line.amount.is_finite() and line.amount > 0):
        faults.add(
            "amount-not-positive",
            f"{name}: the amount must be above 0. Take the line out instead.",
            f"{path}.amount",
        )
    elif not LEAST_AMOUNT <= line.amount <= GREATEST_AMOUNT:
        faults.add(
            "amount-outside",
            f"{name}: the amount must be from {LEAST_AMOUNT:f} to {GREATEST_AMOUNT:f}.",
            f"{path}.amount",
        )
    if ingredient.holds_alkali:
        faults.add(
            "alkali-as-line",
            f"{name} holds alkali that the superfat would not count: alkali is computed from the"
            " fats and never written as a line. Name it as the alkali of the lye instead.",
            path,
        )
    if line.basis is Basis.SHARE_OF_FATS:
        _check_fat(line, path, faults)
    _check_counted(line, path, faults)
    _check_place(line, path, faults)
    _check_composition(ingredient, path, faults)


def _check_fat(line: Line, path: str, faults: Faults) -> None:
    fat = line.ingredient
    bounds = RANGES["sv_mg_koh_g"]
    if fat.kind not in _FAT_KINDS:
        faults.add(
            "not-a-fat",
            f"{fat.name}: only fats can be a share of the fats; this is kind {fat.kind.value}.",
            f"{path}.basis",
        )
    elif fat.sv_mg_koh_g is None:
        faults.add(
            "saponification-value-missing",
            f"{fat.name} has no saponification value, so its lye cannot be computed.",
            f"{path}.ingredient.sv_mg_koh_g",
        )
    for field in ("sv_mg_koh_g", "sv_low", "sv_high"):
        value = getattr(fat, field)
        # A blend of fat and clay has the value of the whole, which no fat has.
        if value is not None and fat.inside is None and not bounds.holds(value):
            faults.add(
                "saponification-value-implausible",
                f"{fat.name}: {value} is no saponification value in mg KOH per g"
                f" ({bounds.low} to {bounds.high}); was it given in another unit?",
                f"{path}.ingredient.{field}",
            )


def _check_counted(line: Line, path: str, faults: Faults) -> None:
    ingredient = line.ingredient
    if line.basis is Basis.PIECE_PER_FATS and not ingredient.counted:
        faults.add(
            "not-counted",
            f"{ingredient.name} is weighed, so it cannot be given as one piece per so many grams.",
            f"{path}.basis",
        )
    if not ingredient.counted:
        return
    if line.basis not in _PIECE_BASES:
        faults.add(
            "counted-by-mass",
            f"{ingredient.name} is counted in pieces; give it in pieces, not as a share.",
            f"{path}.basis",
        )
    if line.stage in BATTER_STAGES and not (ingredient.piece_mass_ng or 0) > 0:
        faults.add(
            "piece-mass-missing",
            f"{ingredient.name} goes into the batter, so the mass of one piece must be known.",
            f"{path}.ingredient.piece_mass_ng",
        )


def _check_place(line: Line, path: str, faults: Faults) -> None:
    in_batter = line.stage in BATTER_STAGES
    if line.ingredient.kind is MaterialKind.PACKAGING and in_batter:
        faults.add(
            "packaging-in-batter",
            f"{line.ingredient.name} is packaging; its stage is packing.",
            f"{path}.stage",
        )
    if line.basis is Basis.SHARE_OF_FATS and not in_batter:
        faults.add(
            "fat-outside-batter",
            f"{line.ingredient.name} is one of the fats, so it must go into the batter.",
            f"{path}.stage",
        )
    if line.basis is Basis.OF_PORTION and line.stage is not Stage.PORTION:
        faults.add(
            "not-in-a-portion",
            f"{line.ingredient.name} is a share of a color portion, so that is where it goes in.",
            f"{path}.stage",
        )
    if line.basis is Basis.TSP_PER_LB_FATS and line.ingredient.density_g_ml is None:
        faults.add(
            "density-missing",
            f"{line.ingredient.name} is measured by the spoon, so its density must be known.",
            f"{path}.ingredient.density_g_ml",
        )
    if line.counts_as_water and not (in_batter and line.ingredient.water_share > 0):
        faults.add(
            "no-water-to-count",
            f"{line.ingredient.name} brings no water into the batter that could count.",
            f"{path}.counts_as_water",
        )


def _check_composition(ingredient: Ingredient, path: str, faults: Faults) -> None:
    path = f"{path}.ingredient"
    if ingredient.kind is MaterialKind.ACID and ingredient.acid_naoh_g_per_g is None:
        faults.add(
            "acid-factor-missing",
            f"{ingredient.name} is an acid; how much NaOH one gram takes must be known.",
            f"{path}.acid_naoh_g_per_g",
        )
    parts = (ingredient.water_share, ingredient.fat_share)
    if not all(part.is_finite() and part >= 0 for part in parts) or sum(parts) > 1:
        faults.add(
            "composition-impossible",
            f"{ingredient.name}: water and fat are shares of its mass, together at most 100 %.",
            f"{path}.water_share",
        )
    for field, bounds in _BOUNDED.items():
        value = getattr(ingredient, field)
        if value is not None and not bounds.holds(value):
            faults.add(
                "implausible",
                f"{ingredient.name}: {field} must be {bounds.told}.",
                f"{path}.{field}",
            )


def _check_sums(formula: Formula, faults: Faults) -> None:
    shares = sum((line.amount for line in formula.lines if line.basis is Basis.SHARE_OF_FATS), ZERO)
    if shares != ONE:
        faults.add(
            "fats-not-whole",
            f"The fats must sum to 100 %; they sum to {(shares * 100).normalize():f} %.",
            "lines",
            sum=str(shares),
        )
    of_batter = sum(
        (
            line.amount * (line.portion_share if line.basis is Basis.OF_PORTION else ONE)
            for line in formula.lines
            if line.basis in _BATTER_BASES and line.stage in BATTER_STAGES
        ),
        ZERO,
    )
    if of_batter >= ONE:
        faults.add(
            "batter-overfull",
            f"Lines given as a share of the batter take {percent(of_batter)} of it and leave no"
            " room for fats and lye.",
            "lines",
        )


def _notices(formula: Formula) -> Iterator[Notice]:
    alkali, (low, high) = formula.alkali, USUAL_LYE
    if not low <= alkali.lye_concentration <= high:
        yield Notice(
            "unusual-lye-concentration",
            f"Lye of {percent(alkali.lye_concentration)} is outside the usual {percent(low)} to"
            f" {percent(high)}: weaker lye traces slowly and shrinks, stronger traces fast.",
            "alkali.lye_concentration",
        )
    if alkali.superfat > USUAL_SUPERFAT:
        yield Notice(
            "unusual-superfat",
            f"A superfat of {percent(alkali.superfat)} leaves a soft bar that may turn rancid.",
            "alkali.superfat",
        )
    for position, line in enumerate(formula.lines):
        fat = line.ingredient
        sv, lowest, highest = fat.sv_mg_koh_g, fat.sv_low, fat.sv_high
        if sv is not None and ((lowest or sv) > sv or (highest or sv) < sv):
            yield Notice(
                "saponification-value-outside-range",
                f"{fat.name}: {sv} lies outside its own range {lowest} to {highest}.",
                f"lines.{position}.ingredient.sv_mg_koh_g",
            )
        if fat.carbonate_naoh_g_per_g:
            yield Notice(
                "carbonate",
                f"{fat.name} is a carbonate: it saponifies no neutral fat, but takes of the acids,"
                " free fatty acids too, what the alkali would have taken. It counts against the"
                " acids of the recipe, and wholly in the worst superfat.",
                f"lines.{position}",
            )
        if line.stage is Stage.PORTION and not line.portion and not formula.portions:
            yield Notice(
                "portion-without-name",
                f"{fat.name} goes into a color portion, but the portion has no name.",
                f"lines.{position}.portion",
            )
