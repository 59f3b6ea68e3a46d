"""The browser of the tests: Debian's Chromium. Nothing is ever downloaded."""

import shutil

from playwright.sync_api import Browser, Playwright

from tests.studio.not_installed import not_installed

#: The one without a window first: it shows the same pages for a third less.
NAMES = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")


def launch(playwright: Playwright) -> Browser:
    """Chromium where it is installed; otherwise the test is skipped, or fails with CI=true."""
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    if found is None:
        not_installed("no Chromium is installed: apt-get install chromium-headless-shell")
    # Containers have no user namespaces for the sandbox, and little shared memory.
    return playwright.chromium.launch(
        executable_path=found, args=["--no-sandbox", "--disable-dev-shm-usage"]
    )
