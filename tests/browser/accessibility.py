"""What axe finds on a page."""

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

SERIOUS = {"serious", "critical"}


def serious_findings(page: Page, *rules: str) -> list[str]:
    """What serious barriers the page that has loaded has now; named rules are all that it tries."""
    options = {"resultTypes": ["violations"]} | ({"runOnly": list(rules)} if rules else {})
    return [
        f"{each['id']} ({each['impact']}): {each['help']}; {node['html'][:160]}"
        for each in Axe().run(page, options=options).response["violations"]
        if each["impact"] in SERIOUS
        for node in each["nodes"]
    ]
