"""The import contracts hold, and each of them fails when it is broken: it guards for real."""

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from tests.architecture.tree import PACKAGES, ROOT


def lint_imports(folder):
    return subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )


@pytest.fixture
def copy(tmp_path):
    for package in PACKAGES:
        shutil.copytree(
            ROOT / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__")
        )
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_the_contracts_hold():
    done = lint_imports(ROOT)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("file", "line", "contract"),
    [
        ("inventory/domain/stock/lots.py", "import inventory.models", "Inside an app"),
        ("recipes/models/molds/molds.py", "import recipes.services", "Inside an app"),
        ("costing/domain/rates/rates.py", "import costing.models", "Inside an app"),
        ("inventory/queries/__init__.py", "import inventory.services", "Inside an app"),
        ("inventory/services/stock/lots.py", "import recipes.domain", "Across apps"),
        ("recipes/domain/chemistry/lye.py", "import costing.domain", "Across apps"),
        ("studio/foundation/money.py", "import inventory.domain", "Across apps"),
        ("studio/foundation/errors.py", "import studio.foundation.money", "Inside the foundation"),
        ("studio/work/outbox.py", "import studio.web.problems", "Inside the studio"),
        ("studio/web/permissions.py", "import studio.web.api.views", "Inside the web"),
        ("studio/foundation/units/__init__.py", "import studio.models", "Inside the studio"),
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
            "inventory/services/stock/lots.py",
            "import pint",
            "Only studio.foundation.units imports pint",
        ),
    ],
)
def test_a_forbidden_import_breaks_its_contract(copy, file, line, contract):
    with (copy / file).open("a", encoding="utf-8") as source:
        source.write(f"\n{line}\n")
    done = lint_imports(copy)
    assert done.returncode != 0
    broken = " ".join(done.stdout.split("Broken contracts")[1].split())
    assert contract in broken
    assert f"{file.removesuffix('.py').removesuffix('/__init__').replace('/', '.')}" in broken


def test_two_rooms_that_import_each_other_break_their_contract(copy):
    """`receiving` rests on `catalog`; the way back is what the contract is for."""
    with (copy / "inventory/services/catalog/materials.py").open("a", encoding="utf-8") as source:
        source.write("\nimport inventory.services.receiving.deliveries\n")
    done = lint_imports(copy)
    assert done.returncode != 0
    broken = done.stdout.split("Broken contracts")[1]
    assert "Inside a ring no two rooms" in broken
    assert ".catalog" in broken and ".receiving" in broken


@pytest.mark.parametrize("package", PACKAGES)
def test_a_module_without_a_place_breaks_the_contract(copy, package):
    (copy / package / "somewhere.py").write_text('"""Has no layer."""\n')
    done = lint_imports(copy)
    assert done.returncode != 0
    assert "somewhere" in done.stdout + done.stderr


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
