"""What the script of the bench knows, so that the card can go on while the network is away."""

from collections.abc import Sequence
from typing import Any

from django.urls import reverse

from recipes.domain.bench.cautions import IN_SHORT
from recipes.pages.bench.shown_bench import ShownLine


def bench_script(code: str, user_id: int, lines: Sequence[ShownLine] = ()) -> dict[str, Any]:
    """Whose readings may wait here, and the lines in the words of the page."""
    return {
        "batch": code,
        "person": user_id,
        "send": reverse("bench-weigh-page", args=[code]),
        "open": reverse("bench-page", args=[code]),
        "short": IN_SHORT,
        "lines": [_line(line) for line in lines],
    }


def _line(line: ShownLine) -> dict[str, Any]:
    return {
        "position": line.position,
        "heading": line.heading,
        "name": line.name,
        "portion": line.portion,
        "target": line.target[0],
        "other": line.target[1],
        "tolerance": line.tolerance[0],
        "lots": [{"code": lot.code, "amount": lot.amount} for lot in line.lots],
        "others": [
            [lot.code, f"{lot.code}, {lot.amount} {'held' if lot.is_held else 'free'}"]
            for lot in line.others
        ],
        "counted": line.counted,
        "done": line.is_done,
        "locked": line.is_locked,
        "lye": line.is_lye,
    }
