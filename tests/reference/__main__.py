"""Check the product against a file of worked examples.

python -m tests.reference FILE [--only FORM]

A line per case: `id form pass`, `id form differs: …` or `id form not served: …`; totals last.
Exit 0 when no served case differs, 1 when one does, 2 when the file or a case is malformed.
"""

import argparse
import json
import sys
from collections import Counter
from decimal import Decimal
from pathlib import Path
from typing import Any

from tests.reference.adapters import ADAPTERS
from tests.reference.compare import differences, tolerance_for
from tests.reference.reading import MalformedCase, NotServed, need

PASS, DIFFERS, NOT_SERVED = "pass", "differs", "not served"


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.reference", description=__doc__)
    parser.add_argument("file", type=Path, metavar="FILE", help="a JSON list of worked examples")
    parser.add_argument("--only", metavar="FORM", help="only the cases of this form")
    options = parser.parse_args(arguments)
    try:
        cases = read(options.file, options.only)
    except MalformedCase as problem:
        return _malformed(str(problem))
    counts: Counter[str] = Counter()
    for case in cases:
        name = f"{case['id']} {case['form']}"
        try:
            verdict, detail = judge(case)
        except MalformedCase as problem:
            return _malformed(f"case {name}: {problem}")
        counts[verdict] += 1
        print(f"{name} {verdict}{': ' if detail else ''}{detail}")
    print(f"{counts[PASS]} passed, {counts[DIFFERS]} differ, {counts[NOT_SERVED]} not served")
    return 1 if counts[DIFFERS] else 0


def read(path: Path, only: str | None) -> list[dict[str, Any]]:
    """Return the cases of a file; raises MalformedCase in plain words."""
    try:
        # Decimals, so that a figure reaches the product as it was written.
        found = json.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)
    except OSError as error:
        raise MalformedCase(f"{path} cannot be read: {error.strerror}") from error
    except ValueError as error:
        raise MalformedCase(f"{path} is not JSON: {error}") from error
    if not isinstance(found, list):
        raise MalformedCase(f"{path} does not hold a list of cases")
    for place, case in enumerate(found, start=1):
        try:
            for key in ("id", "form"):
                if not isinstance(need(case, key), str):
                    raise MalformedCase(f"“{key}” is not a text")
            for key in ("inputs", "expected"):
                if not isinstance(need(case, key), dict):
                    raise MalformedCase(f"“{key}” is not an object")
            for key in case["expected"]:
                tolerance_for(key, need(case, "tolerance"))
        except MalformedCase as problem:
            named = f" ({case['id']})" if isinstance(case, dict) and "id" in case else ""
            raise MalformedCase(f"case number {place}{named}: {problem}") from problem
    chosen = [case for case in found if only is None or case["form"] == only]
    if not chosen:
        raise MalformedCase(f"{path} holds no case{f' of form {only}' if only else ''}")
    return chosen


def judge(case: dict[str, Any]) -> tuple[str, str]:
    """Return the verdict on one case and what there is to say about it."""
    adapter = ADAPTERS.get(case["form"])
    if adapter is None:
        return NOT_SERVED, "the product has no function for this form yet"
    try:
        answer = adapter(case["inputs"])
    except NotServed as reason:
        return NOT_SERVED, str(reason)
    except MalformedCase:
        raise
    except (ValueError, ArithmeticError) as refusal:
        return DIFFERS, f"the product refused it: {refusal}"
    expected = case["expected"]
    found = [
        line
        for key in expected
        if key in answer
        for line in differences(
            answer[key], expected[key], tolerance_for(key, case["tolerance"]), key
        )
    ]
    if found:
        return DIFFERS, "; ".join(found)
    missing = [key for key in expected if key not in answer]
    if missing:
        return NOT_SERVED, f"the product gives no {', '.join(missing)}"
    return PASS, ""


def _malformed(problem: str) -> int:
    print(f"Malformed: {problem}", file=sys.stderr)
    return 2


if __name__ == "__main__":
    sys.exit(main())
