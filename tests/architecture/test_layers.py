"""The import contracts hold, and each of them fails when it is broken: it guards for real."""

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from tests.architecture.tree import PACKAGES, ROOT

#: Wide enough that no line of the report is broken.
COLUMNS = "1000"
#: What each contract on layers forbids, and then what the others do.
UPWARD = [
    ("inventory/domain/stock/lots.py", "import inventory.models", "Inside an app"),
    ("recipes/models/molds/molds.py", "import recipes.services", "Inside an app"),
    ("costing/domain/rates/rates.py", "import costing.models", "Inside an app"),
    ("inventory/queries/__init__.py", "import inventory.services", "Inside an app"),
    ("inventory/services/stock/locks.py", "import recipes.domain", "Across apps"),
    ("recipes/domain/chemistry/lye.py", "import costing.domain", "Across apps"),
    ("studio/foundation/money.py", "import inventory.domain", "Across apps"),
    ("studio/foundation/errors.py", "import studio.foundation.money", "Inside the foundation"),
    ("studio/work/outbox.py", "import studio.web.problems", "Inside the studio"),
    ("studio/web/permissions.py", "import studio.web.api.views", "Inside the web"),
    ("studio/foundation/units/__init__.py", "import studio.models", "Inside the studio"),
]
#: `receiving` rests on `catalog`; the way back is what the contract on rooms is for.
WAY_BACK = (
    "inventory/services/catalog/materials.py",
    "import inventory.services.receiving.deliveries",
    "Inside a ring no two rooms",
)
FORBIDDEN = [
    ("recipes/domain/chemistry/lye.py", "import django.db", "The domain knows"),
    ("inventory/domain/stock/picking.py", "import celery", "The domain knows"),
    ("costing/domain/rates/rates.py", "import rest_framework", "The domain knows"),
    ("costing/domain/rates/rates.py", "import time", "The domain knows"),
    ("costing/services/__init__.py", "import inventory.models", "Only inventory imports"),
    ("costing/services/__init__.py", "import recipes.models", "Only recipes imports"),
    (
        "recipes/queries/bench/batches.py",
        "import inventory.services.stock.ledger",
        "Queries import no other",
    ),
    (
        "costing/queries/rates/rates.py",
        "import recipes.services.molds.molds",
        "Queries import no other",
    ),
    (
        "inventory/services/stock/locks.py",
        "import pint",
        "Only studio.foundation.units imports pint",
    ),
    (
        "inventory/api/stock/lots.py",
        "import inventory.services.stock.holds",
        "Only services import the service that writes holds",
    ),
    (
        "inventory/services/buying/plans.py",
        "import inventory.models.stock.holds",
        "Holds are read where they are judged and shown",
    ),
]


def lint_imports(folder):
    return subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"],
        cwd=folder,
        env={**os.environ, "COLUMNS": COLUMNS},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )


def broken_by(folder, lines, *, homeless=()):
    """What the report says of each broken contract, by its name, once these lines are added."""
    for package in PACKAGES:
        shutil.copytree(
            ROOT / package, folder / package, ignore=shutil.ignore_patterns("__pycache__")
        )
    shutil.copy(ROOT / "pyproject.toml", folder)
    for file, line, _ in lines:
        with (folder / file).open("a", encoding="utf-8") as source:
            source.write(f"\n{line}\n")
    for package in homeless:
        (folder / package / "somewhere.py").write_text('"""Has no layer."""\n')
    done = lint_imports(folder)
    assert done.returncode != 0
    told = re.split(r"\n(.+)\n-{4,}\n", done.stdout.split("Broken contracts\n")[1])
    return dict(zip(told[1::2], told[2::2], strict=True))


@pytest.fixture(scope="module")
def upward(tmp_path_factory):
    return broken_by(tmp_path_factory.mktemp("up"), [*UPWARD, WAY_BACK], homeless=PACKAGES)


@pytest.fixture(scope="module")
def forbidden(tmp_path_factory):
    return broken_by(tmp_path_factory.mktemp("forbidden"), FORBIDDEN)


def said_of(broken, contract):
    (said,) = [said for name, said in broken.items() if name.startswith(contract)]
    return said


def test_the_contracts_hold():
    done = lint_imports(ROOT)
    assert done.returncode == 0, done.stdout + done.stderr


def names_the_import(said, file, line):
    module = file.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
    imported = line.removeprefix("import ")
    shown = {imported, imported.partition(".")[0]}
    return any(re.search(rf"\b{module} -> {each} \(l", said) for each in shown)


@pytest.mark.parametrize(("file", "line", "contract"), UPWARD)
def test_an_import_upward_breaks_its_contract(upward, file, line, contract):
    assert names_the_import(said_of(upward, contract), file, line)


@pytest.mark.parametrize(("file", "line", "contract"), FORBIDDEN)
def test_a_forbidden_import_breaks_its_contract(forbidden, file, line, contract):
    assert names_the_import(said_of(forbidden, contract), file, line)


def test_two_rooms_that_import_each_other_break_their_contract(upward):
    said = said_of(upward, WAY_BACK[2])
    assert ".catalog -> .receiving" in said


@pytest.mark.parametrize("package", PACKAGES)
def test_a_module_without_a_place_breaks_the_contract(upward, package):
    contract = "Inside the studio" if package == "studio" else "Inside an app"
    assert f"- {package}.somewhere\n" in said_of(upward, contract)


def test_both_contracts_over_the_studio_name_the_same_modules():
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = {each["id"]: each for each in settings["tool"]["importlinter"]["contracts"]}

    def modules(contract, prefix):
        words = " ".join(contracts[contract]["layers"]).translate(str.maketrans("|:()", "    "))
        return {word.removeprefix(prefix) for word in words.split() if word.startswith(prefix)}

    assert modules("apps", "studio.") == modules("studio", "")


def test_each_contract_has_its_reason_beside_it():
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    blocks = text.split("[[tool.importlinter.contracts]]")
    assert all("# Why: " in block or 'id = "rows-of-' in block for block in blocks[:-1])
