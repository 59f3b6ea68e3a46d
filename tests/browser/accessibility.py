"""What axe finds on a page."""

from typing import Any

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

SERIOUS = {"serious", "critical"}
LOOK = "([context, options]) => axe.run(context ?? document, options).then((all) => all.violations)"


def bring_axe(page: Page) -> None:
    """Have every page that is loaded from now on bring axe along; worth it where each is tried."""
    page.add_init_script(AXE_SCRIPT)


def serious_findings(page: Page, *rules: str, without: str = "") -> list[str]:
    """What serious barriers the page that has loaded has now, each with its element.

    Named rules are all that is tried; elements that match the selector `without` are left out.
    """
    options: dict[str, Any] = {"resultTypes": ["violations"]}
    if rules:
        options["runOnly"] = list(rules)
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    context = {"exclude": [[without]]} if without else None
    return [
        f"{each['id']} ({each['impact']}): {each['help']}; {node['html'][:160]}"
        for each in page.evaluate(LOOK, [context, options])
        if each["impact"] in SERIOUS
        for node in each["nodes"]
    ]
