"""Drawings: what has a shape, as SVG made by the server, with its numbers in a table beside it.

Each is a pure function of what it is given and answers a `Chart`. A page shows it by the tag
`{% chart it %}`, in the colors of `studio/charts.css`; `alone` makes a file of it, for the API and
for paper.
"""
