"""A wheel built from the tree runs without the tree, and its version is the one that is told."""

import os
import re
import subprocess
import sys
import tomllib
import zipfile

import pytest
from hatchling.builders.wheel import WheelBuilder

from tests.scenarios.commands import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
SEES = """
import django, os, studio
os.environ["DJANGO_SETTINGS_MODULE"] = "studio.settings"
django.setup()
from inventory.services.catalog.trade_list import FIXTURES, published
from studio.management.demo.scenario import read
print(studio.__path__[0], FIXTURES, django.conf.settings.VAR_DIR, sep="\\n")
print(len(published()), len(read("demo/shelf")))
"""


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """A folder that holds what an installed wheel holds, and nothing of the tree."""
    folder = tmp_path_factory.mktemp("wheel")
    (wheel,) = WheelBuilder(str(ROOT)).build(directory=str(folder), versions=["standard"])
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(folder / "installed")
    return folder / "installed"


def run(installed, at, *words):
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}
    done = subprocess.run(
        [sys.executable, *words],
        cwd=at,
        env={**kept, "PYTHONPATH": str(installed)},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_a_wheel_holds_what_the_tree_holds_and_not_its_tests(installed):
    packages = ("studio", "inventory", "recipes", "costing")
    for package in packages:
        tree = {path.relative_to(ROOT) for path in (ROOT / package).rglob("*") if path.is_file()}
        kept = {path for path in tree if "__pycache__" not in path.parts}
        assert kept and not [path for path in kept if not (installed / path).is_file()]
    told = f"soap_studio-{PROJECT['version']}.dist-info"
    assert {path.name for path in installed.iterdir()} == {*packages, told}


def test_it_runs_from_the_wheel_alone(installed, tmp_path):
    told = run(installed, tmp_path, "-c", SEES).split("\n")
    studio, fixtures, var, counts = told[:4]
    assert studio == str(installed / "studio")
    assert fixtures == str(installed / "inventory" / "fixtures")
    assert var == str(tmp_path / "var")
    materials, tables = map(int, counts.split())
    assert materials > 20 and tables > 1
    assert "no issues" in run(installed, tmp_path, "-m", "studio", "check")
    assert "serve" in run(installed, tmp_path, "-m", "studio", "help")
    assert not (installed / "var").exists()


def test_the_version_is_that_of_the_newest_change():
    changes = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("## What changed")[1]
    newest = re.search(r"^- (\d+\.\d+):", changes, re.MULTILINE).group(1)
    assert PROJECT["version"].split(".")[:2] == newest.split(".")
