"""Charts: what has a shape, drawn by the server, with its numbers in a table beside it.

Each is a pure function of what it is given. It answers a `Chart`, which `studio/_chart.html`
shows; the page loads `studio/charts.css`.
"""

from studio.pages.charts.canvas import Chart, Measured
from studio.pages.charts.scales import Unit
from studio.pages.charts.stock_bar import stock_bar
from studio.pages.charts.waterfall import Step, waterfall

__all__ = ("Chart", "Measured", "Step", "Unit", "stock_bar", "waterfall")
