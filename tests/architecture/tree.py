"""The project's own files, as the architecture tests read them."""

import ast
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("studio", "inventory", "recipes", "costing")
Function = ast.FunctionDef | ast.AsyncFunctionDef


@dataclass(frozen=True)
class Source:
    """One Python file of the four packages or of the tests."""

    path: Path

    @property
    def name(self) -> str:
        return self.path.relative_to(ROOT).as_posix()

    @cached_property
    def text(self) -> str:
        return self.path.read_text(encoding="utf-8")

    @cached_property
    def tree(self) -> ast.Module:
        return ast.parse(self.text, self.name)

    @cached_property
    def nodes(self) -> list[ast.AST]:
        """All that the file consists of, walked over once."""
        return list(ast.walk(self.tree))

    def functions(self) -> Iterator[Function]:
        return (node for node in self.nodes if isinstance(node, Function))

    def classes(self) -> Iterator[ast.ClassDef]:
        return (node for node in self.nodes if isinstance(node, ast.ClassDef))

    def public(self) -> Iterator[Function | ast.ClassDef]:
        """Public functions and classes of the module."""
        for node in self.tree.body:
            if isinstance(node, Function | ast.ClassDef) and not node.name.startswith("_"):
                yield node


@cache
def source_at(path: Path) -> Source:
    """The file, read and parsed once for all tests that look at it."""
    return Source(path)


def sources(*, tests: bool = False) -> list[Source]:
    """Every Python file of the packages, without migrations; those of the tests too if asked."""
    found = [
        source_at(path)
        for package in (*PACKAGES, *(("tests",) if tests else ()))
        for path in sorted((ROOT / package).rglob("*.py"))
        if "migrations" not in path.parts
    ]
    assert found
    return found


def tracked() -> list[Path]:
    """The files that a clone has: tracked by git, and still there."""
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout
    return [ROOT / name for name in listed.split("\0") if name and (ROOT / name).is_file()]
