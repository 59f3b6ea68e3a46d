"""Charts: what has a shape, drawn by the server, with its numbers in a table beside it.

Each is a pure function of what it is given. It answers a `Chart`, which `studio/_chart.html`
shows; the page loads `studio/charts.css`.
"""

from studio.pages.charts.canvas import Chart, Measured
from studio.pages.charts.curve import (
    DayMark,
    DayValue,
    FittedValue,
    curve_with_band,
    line_history,
)
from studio.pages.charts.graph import Node, layered_graph
from studio.pages.charts.projected import Level, StockEvent, projected_stock
from studio.pages.charts.ranges import RangedShare, bars_with_band
from studio.pages.charts.scales import Unit
from studio.pages.charts.stock_bar import stock_bar
from studio.pages.charts.timeline import TimelineRow, Use, timeline
from studio.pages.charts.waterfall import Step, waterfall

__all__ = (
    "Chart",
    "DayMark",
    "DayValue",
    "FittedValue",
    "Level",
    "Measured",
    "Node",
    "RangedShare",
    "Step",
    "StockEvent",
    "TimelineRow",
    "Unit",
    "Use",
    "bars_with_band",
    "curve_with_band",
    "layered_graph",
    "line_history",
    "projected_stock",
    "stock_bar",
    "timeline",
    "waterfall",
)
