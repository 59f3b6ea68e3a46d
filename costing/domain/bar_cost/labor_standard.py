"""Standards: what a batch is expected to take of labor by task, of rack time and of energy.

Standard quantities are set for the batch (setting up, cleaning) and for the bar, so that a larger
batch spreads its set-up over more bars.
"""

from dataclasses import dataclass, replace

from costing.domain.bar_cost.conversion import SECONDS_PER_MINUTE, Work


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """Minutes a batch and seconds a bar by task; energy a batch; how many bars a rack holds."""

    mix_minutes: int = 0
    mix_seconds_per_bar: int = 0
    cut_minutes: int = 0
    cut_seconds_per_bar: int = 0
    wrap_minutes: int = 0
    wrap_seconds_per_bar: int = 0
    energy_wh: int = 0
    bars_per_rack: int | None = None

    def racks_for(self, bars: int) -> int:
        """How many racks so many bars take; one where it is not said how many a rack holds."""
        if not bars:
            return 0
        return 1 if self.bars_per_rack is None else -(-bars // self.bars_per_rack)


def work_of(
    standard: Standard | None, *, bars: int, is_blend: bool, minutes: int, rack_days: int
) -> Work:
    """What a batch of so many bars takes by its standard.

    A blend is only mixed. `minutes` are those of the recipe, which hold where there is no
    standard; bars stand on the rack for `rack_days`.
    """
    if standard is None:
        return Work(other=minutes * SECONDS_PER_MINUTE, rack_days=rack_days if bars else 0)
    return Work(
        mix=_seconds(standard.mix_minutes, standard.mix_seconds_per_bar, bars),
        cut=0 if is_blend else _seconds(standard.cut_minutes, standard.cut_seconds_per_bar, bars),
        wrap=0
        if is_blend
        else _seconds(standard.wrap_minutes, standard.wrap_seconds_per_bar, bars),
        rack_days=rack_days * standard.racks_for(bars),
        energy_wh=standard.energy_wh,
    )


def _seconds(minutes: int, seconds_per_bar: int, bars: int) -> int:
    return minutes * SECONDS_PER_MINUTE + seconds_per_bar * bars


def expected_work(done: Work, planned: Work) -> Work:
    """What a batch that is under way will have taken: what is done, and the plan for the rest.

    A task that has been done is not planned any more. Where the plan tells no tasks apart, its
    time is what all of them are expected to take.
    """
    if planned.mix or planned.cut or planned.wrap:
        labor = Work(
            mix=done.mix or planned.mix,
            cut=done.cut or planned.cut,
            wrap=done.wrap or planned.wrap,
            other=done.other,
        )
    else:
        labor = replace(done, other=done.other + max(planned.other - done.seconds, 0))
    return replace(labor, rack_days=planned.rack_days, energy_wh=planned.energy_wh)
