"""What the recipes refuse, and why."""

from studio.foundation.errors import Kind, Refusal


class RecipeRefusal(Refusal):
    """Base of all that a formula, its lye, its scaling or its safety check refuses."""

    code = "recipe-refused"
    title = "This recipe cannot be made as it stands"


class FormulaRefusal(RecipeRefusal):
    """The formula itself is wrong; the faults name each line and setting."""

    code = "formula-invalid"
    title = "The formula has faults"


class ScalingRefusal(RecipeRefusal):
    """The formula is sound, but not at this size or with this scale."""

    code = "cannot-scale"
    title = "The formula cannot be scaled to this target"


class OutsideTable(RecipeRefusal):
    """A density was asked for outside the published table. Nothing is ever extrapolated."""

    code = "outside-table"
    title = "The published table does not reach that far"


class SafetyRefusal(RecipeRefusal):
    """Base of what is refused because it could hurt somebody."""

    code = "unsafe"
    title = "This is not safe to make"


class LyeHeavy(SafetyRefusal):
    """More alkali than the fats and acids can take: free lye would stay in the soap and burn."""

    code = "lye-heavy"
    title = "More alkali than the fats can take"


class UnsafeAsItStands(SafetyRefusal):
    """A reserved batch that turned unsafe by its lots is not poured as it stands.

    Choose other lots, or give back what it holds and reserve it with its lye set anew on the lots.
    What was weighed otherwise, or poured before that was known, happened: it is recorded and held.
    """

    code = "unsafe-as-it-stands"
    title = "It must not be poured as it stands"


class WorstNotAccepted(SafetyRefusal):
    """With purer alkali or fats that take less of it than usual, free lye could stay in the soap.

    A certificate narrows that, more superfat mends it. Or accept it once for this version of the
    recipe, by name: send the same again with `accept_worst`, the figure (`worst`) that this tells.
    A later batch asks again only where its own worst is lower.
    """

    code = "worst-not-accepted"
    title = "Nobody has accepted how lye-heavy it may be at its worst"


class FragranceOverMaximum(SafetyRefusal):
    """A fragrance is above its certified maximum for IFRA category 9 in the finished soap."""

    code = "fragrance-over-maximum"
    title = "More fragrance than its certificate allows"


class FragranceWithoutCertificate(SafetyRefusal):
    """A fragrance has no certified maximum, so nobody can tell whether this much is safe."""

    code = "fragrance-without-certificate"
    title = "The certified maximum of a fragrance is missing"


class BatchConflict(RecipeRefusal):
    """The batch or recipe version is in a state that does not allow the step."""

    code = "batch-conflict"
    kind = Kind.CONFLICT
    title = "The batch is not in a state for that"


class CutNeedsReason(RecipeRefusal):
    """More than 10 % of a pour is in no bar, reject or end, or bars are 25 % off their plan.

    Both happen (a log that sticks, thin bars on purpose): send the same cut with a `reason`, which
    stays on record, or with the weight that was left out. A fault is `loss-needs-reason` or
    `bar-weight-needs-reason`.
    """

    code = "cut-needs-reason"
    title = "That cut wants a reason"


class ProductionCycle(RecipeRefusal):
    """A material would be needed to make itself; the path goes from it down to itself again."""

    code = "needs-itself"
    title = "A material would be needed to make itself"


class LabelRefusal(RecipeRefusal):
    """There is nothing to label, or it must not be sold."""

    code = "label-refused"
    title = "This label cannot be made"
