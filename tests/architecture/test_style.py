"""Rules of style that no linter knows: sizes, names, docstrings, exact numbers."""

import ast
import re

from tests.architecture.tree import sources, tracked

#: In the product, and in the tests: a scenario told from end to end may be longer than a rule.
MOST_FILE_LINES = {False: 400, True: 400}
MOST_FUNCTION_LINES = {False: 40, True: 80}
#: Of a template: what stands side by side on a screen, and in the comparison of two versions.
MOST_COLUMNS = 140
BANNED = re.compile(r"(^|_)(utils?|helpers?|manager|data|info)(_|$)")
RINGS_WITH_DOCSTRINGS = ("domain", "services", "queries")
FLOATING = {"FloatField", "DecimalField"}


def is_test(source):
    return source.name.startswith("tests/")


def test_files_are_short():
    long = {
        source.name: lines
        for source in sources(tests=True)
        if (lines := len(source.text.splitlines())) > MOST_FILE_LINES[is_test(source)]
    }
    assert not long


def test_functions_are_short():
    long = {
        f"{source.name}:{function.lineno} {function.name}": lines
        for source in sources(tests=True)
        for function in source.functions()
        if (lines := (function.end_lineno or 0) - function.lineno + 1)
        > MOST_FUNCTION_LINES[is_test(source)]
    }
    assert not long


def test_lines_of_templates_are_short():
    templates = [path for path in tracked() if "templates" in path.parts]
    assert len(templates) > 100
    assert not [
        f"{path.name}:{number} has {len(line)}"
        for path in templates
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if len(line) > MOST_COLUMNS
    ]


def test_names_say_what_a_thing_is():
    vague = [source.name for source in sources(tests=True) if BANNED.search(source.path.stem)]
    vague += [
        f"{source.name}: {node.name}"
        for source in sources(tests=True)
        for node in source.classes()
        if BANNED.search(re.sub(r"(?<!^)(?=[A-Z][a-z])", "_", node.name).lower())
    ]
    assert not vague


def test_every_module_says_what_it_is_for():
    silent = [
        source.name
        for source in sources()
        if source.tree.body
        and source.path.name not in {"__init__.py", "apps.py"}
        and not ast.get_docstring(source.tree)
    ]
    assert not silent


def test_public_functions_of_the_inner_rings_have_docstrings():
    silent = [
        f"{source.name}:{node.lineno} {node.name}"
        for source in sources()
        if set(RINGS_WITH_DOCSTRINGS) & {*source.path.parts, source.path.stem}
        for node in source.public()
        if not ast.get_docstring(node)
    ]
    assert not silent


def test_no_model_keeps_a_number_that_is_not_exact():
    floating = [
        f"{source.name}:{node.lineno} {node.attr}"
        for source in sources()
        if "models" in {*source.path.parts, source.path.stem}
        for node in source.nodes
        if isinstance(node, ast.Attribute) and node.attr in FLOATING
    ]
    assert not floating


def test_money_and_units_know_no_float():
    floating = [
        f"{source.name}:{node.lineno}"
        for source in sources()
        if source.name.startswith(("studio/foundation/money", "studio/foundation/units"))
        for node in source.nodes
        if (isinstance(node, ast.Constant) and isinstance(node.value, float))
        or (isinstance(node, ast.Call) and ast.unparse(node.func) == "float")
    ]
    assert not floating


def test_the_domain_asks_no_clock():
    asking = [
        f"{source.name}:{node.lineno} {node.func.attr}"
        for source in sources()
        if "domain" in source.path.parts
        for node in source.nodes
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in {"now", "today", "utcnow"}
    ]
    assert not asking


def test_imports_stand_at_the_top():
    """One inside a function hides a dependency; where Django forces it, noqa says so beside it."""
    deferred = [
        f"{source.name}:{node.lineno}"
        for source in sources()
        for function in source.functions()
        for node in ast.walk(function)
        if isinstance(node, ast.Import | ast.ImportFrom)
        and "PLC0415" not in source.text.splitlines()[node.lineno - 1]
    ]
    assert not deferred


def test_no_test_is_skipped_or_waits_for_a_while():
    """A skipped test proves nothing; a sleep is too long here and too short elsewhere."""
    # Waiting for another process has to look again, and a program outside of Python may be missing:
    # each is done in one place, and with CI=true a program that is missing fails the test.
    allowed = {"tests/waiting.py", "tests/studio/not_installed.py"}
    words = {"time.sleep", "pytest.skip", "pytest.mark.skip", "pytest.mark.skipif"}
    words |= {"pytest.mark.xfail", "pytest.importorskip", "unittest.skip"}
    last_words = {word.rpartition(".")[2] for word in words}
    found = [
        f"{source.name}:{node.lineno} {called}"
        for source in sources(tests=True)
        if source.name.startswith("tests/") and source.name not in allowed
        for node in source.nodes
        if isinstance(node, ast.Attribute)
        and node.attr in last_words
        and (called := ast.unparse(node)) in words
    ]
    assert not found
