"""What a clone holds: a fixed top level, nothing of this machine, migrations up to date."""

import re
import stat

import pytest
from django.core.management import call_command

from tests.architecture.tree import ROOT, tracked

TOP = {
    *("README.md", "DEVELOPERS.md", "manage.py", "pyproject.toml"),
    *("studio", "inventory", "recipes", "costing", "tests", "fixtures"),
}
# Written in two parts, so that this file holds none of them itself.
MACHINE = re.compile(
    # A folder of the tree may be called like one at the root of a machine.
    "|".join((r"(?<![\w.])/wo" + r"rk/\w", "/ro" + r"ot/\w", "/ho" + r"me/\w+/", "/tm" + "p/"))
)
TEXT = {".py", ".md", ".toml", ".html", ".css", ".js", ".csv", ".json", ".svg", ".txt", ".yaml", ""}


def test_the_top_level_is_the_agreed_one():
    top = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert {name for name in top if not name.startswith(".")} <= TOP


def test_no_path_of_a_machine_is_in_a_file():
    found = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in tracked()
        if path.suffix in TEXT
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if MACHINE.search(line)
    ]
    assert not found


def test_nothing_that_a_run_makes_is_tracked():
    made = re.compile(
        r"(^|/)(var|\.venv|__pycache__|staticfiles)/|\.(sqlite3|pyc|log)$|secret_key$"
    )
    assert not [path for path in tracked() if made.search(path.relative_to(ROOT).as_posix())]


def test_migrations_are_up_to_date(db):
    call_command("makemigrations", "--check", "--dry-run", verbosity=1)


@pytest.mark.parametrize("heading", ["Run it", "Test it"])
def test_the_readme_has_one_line_to_copy_under(heading):
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    part = re.split(r"^## ", text.split(f"\n## {heading}\n", 1)[1], maxsplit=1, flags=re.MULTILINE)[
        0
    ]
    lines = [line for line in part.splitlines() if "python3 -m venv" in line]
    assert len(lines) == 1


def test_the_check_of_everything_can_be_run():
    script = ROOT / ".ci" / "run"
    assert script.stat().st_mode & stat.S_IXUSR
    assert "set -euo pipefail" in script.read_text(encoding="utf-8")
