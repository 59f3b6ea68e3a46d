"""The causes of alerts that the recipes know of."""

from collections.abc import Sequence

from inventory.domain.alerts.causes import Finding
from inventory.services.alerts.registry import CAUSES, Cause, Look, listed
from recipes.queries.cure.curing import cure_ready_batches


def cure_ready(look: Look) -> list[Finding]:
    """Cut batches whose time to cure is over. One query."""
    return [
        Finding(
            subject=f"batch:{found.batch}",
            name=f"batch {found.batch}",
            reason=f"{found.bars} bars of {found.product} (batch {found.batch}) are ready since "
            f"{found.ready_on}: weigh a few, and book them as cured.",
            figures={"ready_on": found.ready_on.isoformat(), "bars": found.bars},
        )
        for found in cure_ready_batches(on=look.on)
    ]


def _headline(names: Sequence[str]) -> str:
    return f"{listed(names)} {'is' if len(names) == 1 else 'are'} ready"


def register_causes() -> None:
    """Make the recipes' causes known."""
    CAUSES.register(Cause(kind="cure-ready", title="Cured", find=cure_ready, headline=_headline))
