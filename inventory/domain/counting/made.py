"""How much there can be of a lot that was made here, whatever a count finds."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What the books say of a lot made here, in its stock unit (ng or pieces).

    `made` is what came out of its document; `went_in` the mass that went into it and stayed, 0 for
    pieces; `gone` what was used or sold of it and did not come back. What was counted away or
    spoiled is not gone in this sense: it may turn up again.
    """

    made: int
    went_in: int
    gone: int

    @property
    def most(self) -> int:
        """No more than this can be found: mass is not made. A pour that was read too low is
        counted up to what went into it; of pieces there are as many as were made.
        """
        return max(self.made, self.went_in) - self.gone
