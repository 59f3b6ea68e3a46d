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
        ("inventory/domain/lots.py", "import inventory.models", "Inside an app"),
        ("recipes/models/molds.py", "import recipes.services", "Inside an app"),
        ("costing/domain/rates.py", "import costing.models", "Inside an app"),
        ("inventory/queries/__init__.py", "import inventory.services", "Inside an app"),
        ("inventory/services/lots.py", "import recipes.domain", "Across apps"),
        ("recipes/domain/lye.py", "import costing.domain", "Across apps"),
        ("studio/money.py", "import inventory.domain", "Across apps"),
        ("studio/errors.py", "import studio.money", "Inside the studio"),
        ("studio/units/__init__.py", "import studio.models", "Inside the studio"),
        ("recipes/domain/lye.py", "import django.db", "The domain knows"),
        ("inventory/domain/picking.py", "import celery", "The domain knows"),
        ("costing/domain/rates.py", "import rest_framework", "The domain knows"),
        ("costing/domain/rates.py", "import time", "The domain knows"),
        ("costing/services/__init__.py", "import inventory.models", "Only inventory imports"),
        ("costing/services/__init__.py", "import recipes.models", "Only recipes imports"),
        ("recipes/queries/made.py", "import inventory.services.ledger", "Queries import no other"),
        ("costing/queries/rates.py", "import recipes.services.molds", "Queries import no other"),
        ("inventory/services/lots.py", "import pint", "Only studio.units imports pint"),
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
