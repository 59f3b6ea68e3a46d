"""How the walk is printed: headings, sentences and tables."""

from collections.abc import Iterable, Sequence
from decimal import Decimal

from rich.console import Console
from rich.table import Table

from studio.foundation.local_words import written_money
from studio.foundation.units.registry import NG_PER_G

#: A piped output has no width of its own; a README and a log are read at this one.
WIDTH = 100
NG_PER_KG = 1000 * NG_PER_G


class Printer:
    """Prints the walk to one console."""

    def __init__(self, console: Console | None = None) -> None:
        self._console = console or Console(width=WIDTH, highlight=False)
        self._step = 0

    def step(self, title: str, why: str = "") -> None:
        """A numbered heading, and a sentence about what is done."""
        self._step += 1
        self._console.print()
        self._console.rule(f"[bold]{self._step} · {title}", align="left")
        if why:
            self._console.print(why, markup=False)

    def say(self, text: str, style: str = "") -> None:
        """A sentence."""
        self._console.print(text, style=style, markup=False)

    def table(
        self, columns: Sequence[str], rows: Iterable[Sequence[str]], *, title: str = ""
    ) -> None:
        """A table; columns whose name starts with ">" are numbers and stand to the right."""
        table = Table(title=title or None, title_justify="left", header_style="bold")
        for column in columns:
            number = column.startswith(">")
            table.add_column(
                column.lstrip(">"), justify="right" if number else "left", no_wrap=number
            )
        for row in rows:
            table.add_row(*row)
        self._console.print(table)


def amount(value: int, unit: str) -> str:
    """Stock units as they are weighed or counted: "12 each", "1,204 g", "72.1 g", "19.705 kg"."""
    if unit == "each":
        return f"{value:,} each"
    if value >= 10 * NG_PER_KG:
        return f"{Decimal(value) / NG_PER_KG:,.3f} kg"
    tenths = round(Decimal(value) / NG_PER_G, 1)
    return f"{tenths:,.0f} g" if tenths == int(tenths) else f"{tenths:,.1f} g"


def money(value: int) -> str:
    """Money in the studio's currency, to the cent."""
    return written_money(value)


def per_kg(cost: int, ng: int) -> str:
    """Cost of a kilogram, from the cost of so many nanograms."""
    return money(round(Decimal(cost) * NG_PER_KG / ng)) if ng else "-"


def percent(share: Decimal, places: int = 1) -> str:
    """A share of 1 in percent."""
    return f"{share * 100:.{places}f} %"
