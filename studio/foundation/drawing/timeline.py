"""What is in use from day to day: a row for each mold or rack, a bar for each use, today's line."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from studio.foundation.drawing.canvas import ELLIPSIS, SMALL, Canvas, Chart, chart, estimated_width
from studio.foundation.drawing.scales import Days, draw_day_axis

LABELS, LANE = 170.0, 26.0
#: How states are told apart, in the order in which they first appear.
STATES = (
    ("ch-edge", "reserved"),
    ("ch-edge-ash", "dots"),
    ("ch-edge-green", "credit"),
    ("ch-edge-ash", "upright"),
    ("ch-edge", "falling"),
    ("ch-edge-ash", "band"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """One use, from its first to its last day (both belong to it), and its state in a word."""

    label: str
    start: date
    end: date
    state: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TimelineRow:
    """One mold, shelf or rack and its uses; uses that overlap are drawn below each other."""

    label: str
    uses: Sequence[Use]


def timeline(
    *,
    prefix: str,
    title: str,
    rows: Sequence[TimelineRow],
    first: date,
    last: date,
    today: date | None = None,
) -> Chart:
    """The uses between two days (both are drawn); what lies outside is cut off in the drawing only.

    States are told apart by pattern and by color, in the order in which they first appear.
    """
    first, last = min(first, last), max(first, last)
    told = _told(rows)
    states = list(dict.fromkeys(use.state for row in rows for use in row.uses))
    looks = {state: STATES[index % len(STATES)] for index, state in enumerate(states)}
    words = "; ".join(f"{a}: {b}, {start} to {end}, {state}" for a, b, start, end, state in told)

    def draw(canvas: Canvas) -> None:
        if not rows:
            canvas.say("Nothing is in use.")
            return
        left = 1.0 if canvas.is_narrow else LABELS
        days = Days(first=first, last=last, start=left, end=canvas.width - 1, whole=True)
        y = 20.0
        for row in rows:
            y = _row(canvas, days, row, looks, y)
        _today(canvas, days, today, y)
        draw_day_axis(canvas, days, y)
        canvas.height = canvas.legend(y + 32, [(*look, state) for state, look in looks.items()])

    return chart(
        prefix=prefix,
        title=title,
        words=f"{words}." if words else "Nothing is in use.",
        columns=("Where", "What", "From", "To", "State"),
        rows=told,
        draw=draw,
    )


def _told(rows: Sequence[TimelineRow]) -> list[tuple[str, ...]]:
    return [
        (row.label, use.label, str(use.start), str(use.end), use.state)
        for row in rows
        for use in row.uses
    ]


def lanes(uses: Sequence[Use]) -> list[list[Use]]:
    """Uses on as few lines as keep each from overlapping another, earliest first."""
    found: list[list[Use]] = []
    for use in sorted(uses, key=lambda use: (use.start, use.end, use.label)):
        free = next((lane for lane in found if lane[-1].end < use.start), None)
        if free is None:
            found.append([use])
        else:
            free.append(use)
    return found


def _row(
    canvas: Canvas,
    days: Days,
    row: TimelineRow,
    looks: dict[str, tuple[str, str]],
    y: float,
) -> float:
    """One row at y; the y of the next."""
    canvas.line(0, y, canvas.width, y, css="ch-grid")
    if canvas.is_narrow:
        canvas.text(0, y + 17, row.label, css="ch-halo")
        y, label = y + 22, 0.0
    else:
        y += 4
        label = 17.0 * canvas.lines(0, y + 16, row.label, within=LABELS - 12) + 5
    shown = [use for use in row.uses if use.start <= days.last and use.end >= days.first]
    in_lanes = lanes(shown)
    for index, lane in enumerate(in_lanes):
        for use in lane:
            _use(canvas, days, use, looks[use.state], y + LANE * index)
    return y + max(LANE * len(in_lanes), label, 4.0) + 2


def _use(canvas: Canvas, days: Days, use: Use, look: tuple[str, str], y: float) -> None:
    """A box with its words; the pattern of its state is a strip at its left, beside the words."""
    css, fill = look
    start, end = sorted((days.at(use.start), days.at(use.end, after=True)))
    start = min(start, days.end - 2)
    width = max(end - start, 2)
    tip = f"{use.label}, {use.start} to {use.end}, {use.state}"
    strip = min(14.0, width)
    canvas.rect(start, y, width, LANE - 4, css="ch-box", tip=tip)
    canvas.rect(start, y, strip, LANE - 4, css=css, fill=fill, tip=tip)
    words = _fitting(use.label, width - strip - 8)
    if words:
        canvas.text(start + strip + 4, y + 15, words, size=SMALL)


def _fitting(label: str, room: float) -> str:
    """As many whole words of a label as fit: half a code would be another code."""
    if estimated_width(label, SMALL) <= room:
        return label
    words = label.split()
    for count in range(len(words) - 1, 0, -1):
        part = " ".join(words[:count]) + ELLIPSIS
        if estimated_width(part, SMALL) <= room:
            return part
    return ""


def _today(canvas: Canvas, days: Days, today: date | None, bottom: float) -> None:
    """A line behind all that is drawn so far, so that it crosses no words."""
    if today is None or not days.first <= today <= days.last:
        return
    x = days.at(today)
    drawn, canvas.marks = canvas.marks, []
    canvas.line(x, 18, x, bottom, css="ch-dashed")
    canvas.marks += drawn
    half = estimated_width("today", SMALL) / 2
    place = min(max(x, half), canvas.width - half)
    canvas.text(place, 12, "today", size=SMALL, anchor="middle", css="ch-bold")
