"""The runner of worked examples says the truth, and asks the product."""

import ast
import json
import sys
from pathlib import Path
from typing import Any

import grimp
import pytest

from tests.reference import adapters
from tests.reference.__main__ import main

HERE = Path(__file__).parent
EXAMPLES = HERE / "data" / "worked_examples.json"
SERVED = sorted(adapters.ADAPTERS)
PRODUCT = ("equipment", "inventory", "shop")
#: Demand, reorder points and the classic formulas, until the pages that show them ask for them.
AHEAD_OF_THEIR_PAGES = {
    "inventory.periodic",
}
TRANSLATORS = sorted(path.name for path in HERE.glob("*adapters.py"))


def cases() -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(EXAMPLES.read_text(encoding="utf-8"))
    return found


def write(tmp_path: Path, content: object) -> str:
    path = tmp_path / "cases.json"
    path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return str(path)


def altered(value: Any) -> Any:
    """The same answer, wrong."""
    if isinstance(value, list):
        return [*value[:-1], altered(value[-1])]
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return value * 1.001 + 1
    return f"not {value}"


def test_every_served_case_of_the_copied_file_passes(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([str(EXAMPLES)]) == 0
    *lines, totals = capsys.readouterr().out.splitlines()
    verdicts = {line.split()[1]: line.split(" ", 2)[2] for line in lines}
    assert {verdicts[form] for form in SERVED} == {"pass"}
    unserved = sum(case["form"] not in SERVED for case in cases())
    assert totals == f"{len(cases()) - unserved} passed, 0 differ, {unserved} not served"


@pytest.mark.parametrize(
    ("name", "key"),
    [(case["id"], key) for case in cases() if case["form"] in SERVED for key in case["expected"]],
)
def test_each_expected_value_when_altered_makes_its_case_differ(
    name: str, key: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (case,) = (case for case in cases() if case["id"] == name)
    case["expected"][key] = altered(case["expected"][key])
    assert main([write(tmp_path, [case])]) == 1
    out = capsys.readouterr().out
    assert f"{case['form']} differs: {key}" in out
    assert "0 passed, 1 differ, 0 not served" in out


def test_a_number_outside_its_tolerance_is_shown_with_the_difference(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = next(case for case in cases() if case["form"] == "us_gallon")
    case["expected"]["cubic_inches"] = 230
    assert main([write(tmp_path, [case])]) == 1
    assert "cubic_inches got 231 expected 230 by 1" in capsys.readouterr().out


def test_only_one_form(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([str(EXAMPLES), "--only", "first_due"]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == "1 passed, 0 differ, 0 not served"


def test_a_key_the_product_does_not_give_is_not_called_a_pass(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = next(case for case in cases() if case["form"] == "us_gallon")
    case["expected"]["hogsheads"] = 1
    assert main([write(tmp_path, [case])]) == 0
    out = capsys.readouterr().out
    assert "not served: the product gives no hogsheads" in out
    assert "0 passed, 0 differ, 1 not served" in out


def _without(key: str) -> list[dict[str, Any]]:
    case = next(case for case in cases() if case["form"] == "us_gallon")
    del case[key]
    return [case]


def _with_inputs(form: str, **inputs: Any) -> list[dict[str, Any]]:
    case = next(case for case in cases() if case["form"] == form)
    case["inputs"].update(inputs)
    return [case]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("{", "is not JSON"),
        ({"id": "I01"}, "does not hold a list"),
        ([], "holds no case"),
        ([3], "case number 1"),
        (_without("form"), "“form” is missing"),
        (_without("inputs"), "“inputs” is missing"),
        (_without("tolerance"), "“tolerance” is missing"),
        (_with_inputs("us_gallon", gallons="one"), "“gallons” is not a number"),
        (_with_inputs("days_between", pairs=[["2024-02-30", "2024-03-01"]]), "not a date"),
        (_with_inputs("first_due", triggers=[7]), "a trigger is not an object"),
        (_with_inputs("specific_identification", issues=[3]), "an issue is not a list"),
        (_with_inputs("specific_identification", issues=[[{"lot": 9, "quantity": 1}]]), "lot 9"),
    ],
)
def test_a_malformed_file_or_case_is_named_and_ends_with_2(
    content: object, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([write(tmp_path, content)]) == 2
    problem = capsys.readouterr().err
    assert problem.startswith("Malformed: ")
    assert words in problem


def test_a_file_that_is_not_there_ends_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["no/such/file.json"]) == 2
    assert "cannot be read" in capsys.readouterr().err


def test_an_issue_larger_than_its_lot_is_a_difference_not_a_crash(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    content = _with_inputs("specific_identification", issues=[[{"lot": 1, "quantity": 151}]])
    assert main([write(tmp_path, content)]) == 1
    assert "the product refused it" in capsys.readouterr().out


# The runner must not answer by itself, nor call what only it uses.


def _product_modules_called() -> set[str]:
    return {
        f"{node.module}.{alias.name}"
        for name in TRANSLATORS
        for node in ast.walk(ast.parse((HERE / name).read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in PRODUCT
        for alias in node.names
    }


def _entries(graph: grimp.ImportGraph) -> set[str]:
    """Modules that do something for a person: pages, services, commands."""
    found = set()
    for module in graph.modules:
        parts = module.split(".")[1:]
        if parts[:1] in (["views"], ["services"]) or (
            parts[:2] == ["management", "commands"] and len(parts) == 3
        ):
            found.add(module)
    return found


def _used_by_the_product(graph: grimp.ImportGraph) -> set[str]:
    entries = _entries(graph)
    return entries.union(*(graph.find_upstream_modules(entry) for entry in entries))


def test_the_runner_calls_only_modules_that_a_page_a_service_or_a_command_uses() -> None:
    called = _product_modules_called()
    assert called
    graph = grimp.build_graph(*PRODUCT, cache_dir=None)
    assert called <= graph.modules
    assert called - _used_by_the_product(graph) <= AHEAD_OF_THEIR_PAGES


def test_a_module_that_only_the_runner_used_would_be_noticed() -> None:
    graph = grimp.build_graph(*PRODUCT, cache_dir=None)
    called = _product_modules_called()
    for module in called:
        for importer in graph.find_modules_that_directly_import(module):
            graph.remove_import(importer=importer, imported=module)
    assert called - _used_by_the_product(graph) == called


@pytest.mark.parametrize("name", [*TRANSLATORS, "reading.py", "compare.py", "__main__.py"])
def test_the_runner_imports_nothing_but_the_product_and_the_standard_library(name: str) -> None:
    tree = ast.parse((HERE / name).read_text(encoding="utf-8"))
    roots = {
        imported.split(".")[0]
        for node in ast.walk(tree)
        for imported in (
            [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else []
        )
    }
    assert roots - set(sys.stdlib_module_names) <= {*PRODUCT, "tests"}


@pytest.mark.parametrize("name", [*TRANSLATORS, "reading.py"])
def test_the_adapters_do_no_arithmetic(name: str) -> None:
    tree = ast.parse((HERE / name).read_text(encoding="utf-8"))
    arithmetic = (ast.Add, ast.Sub, ast.Mult, ast.Div, ast.FloorDiv, ast.Mod, ast.Pow)
    assert not [
        node.lineno
        for node in ast.walk(tree)
        if (isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, arithmetic))
        or (
            isinstance(node, ast.Call)
            and getattr(node.func, "id", "") in {"sum", "round", "divmod"}
        )
    ]
