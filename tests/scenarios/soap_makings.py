"""What walks over soap draw from: what is made of what, how far and when, and what goes wrong."""

from dataclasses import dataclass
from decimal import Decimal as D

from hypothesis import strategies as st

from tests.scenarios.soap_shelf import SOAPS

which = st.integers(0, 10**4)
slips = st.sampled_from([D(1), D(1), D("1.03"), D("1.09"), D("2.5"), D("0.93"), D(0)])
outs = st.sampled_from([None, D("0.98"), D("0.94"), D("1.0"), D("1.2")])
purities = st.sampled_from([None, None, D("0.9"), D("0.97"), D("0.99"), D(1)])
values = st.sampled_from([None, None, D(178), D(184), D(190), D(250)])
ends_at = st.sampled_from(["reserved", "poured", "cut", "early", "cured", "cured"])
people = st.sampled_from(["owner", "owner", "maker", "nobody"])
#: On the day that is meant, today, before there was anything, or on a day to come.
days = st.sampled_from([*["then"] * 8, "now", "now", "before", "ahead"])


@dataclass(frozen=True)
class Making:
    """A soap to make: of what, with a lot of one material named, a slip at one line, how far.

    `good` is what the bars weigh of the poured soap; `accepts` says whether a worst superfat is
    accepted where that is asked about.
    """

    code: str
    kilos: int = 1
    own: int | None = None
    slip: D = D(1)
    part: int | str = 0
    out: D | None = None
    far: str = "cured"
    good: D = D("0.8")
    day: str = "then"
    accepts: bool = True


makings = st.builds(
    Making,
    code=st.sampled_from(list(SOAPS)),
    kilos=st.integers(1, 3),
    own=st.none() | which,
    slip=slips,
    part=which,
    out=outs,
    far=ends_at,
    good=st.sampled_from([D("0.8"), D("0.8"), D("0.8"), D("0.92")]),
    day=days,
    accepts=st.sampled_from([True, True, True, False]),
)
