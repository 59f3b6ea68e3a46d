"""What the forms of a page would send as they stand, as a browser would."""

from html.parser import HTMLParser


class _Reader(HTMLParser):
    def __init__(self):
        super().__init__()
        self.values = {}
        self.select = self.area = ""

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if tag == "input":
            self._input(given)
        elif tag == "select":
            self.select = given.get("name", "")
        elif tag == "textarea":
            self.area = given["name"]
            self.values[self.area] = ""
        elif tag == "option" and "selected" in given:
            self.values[self.select] = given["value"]

    def _input(self, given):
        name, ticked = given.get("name"), given.get("type") in ("checkbox", "radio")
        if name and (not ticked or "checked" in given):
            self.values[name] = given.get("value", "on" if ticked else "")

    def handle_data(self, data):
        if self.area:
            self.values[self.area] += data

    def handle_endtag(self, tag):
        if tag == "textarea":
            self.area = ""


def form_of(page):
    """The values by name; of several forms on the page all together, without the search."""
    reader = _Reader()
    reader.feed(page)
    reader.values.pop("q", None)
    return reader.values
