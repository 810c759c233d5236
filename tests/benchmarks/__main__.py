"""Measure the product beside the least that the same answer could cost.

python -m tests.benchmarks [NAME…] [--json] [--quick] [--rounds N]

Every goal is a ratio, ours ÷ a floor measured in the same run, since machines differ. A table goes
to the standard output, or with --json a list of objects; what is worth knowing beside it goes to
the standard error. Each database is made for its benchmark and thrown away: a SQLite file in a
temporary folder or, where DATABASE_URL names PostgreSQL, a database on that server. A missed goal
is printed and ends with 0; a wrong answer ends with 1.
"""

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from importlib import import_module
from typing import Final

from tests.benchmarks import database
from tests.benchmarks.measure import Options, Result, WrongAnswer, say

#: By name: the module that measures it.
BENCHMARKS: Final = {
    "reading-post": "reading_post",
    "due-page": "due_page",
    "due-rebuild": "due_rebuild",
    "sheet-pdf": "sheet_pdf",
    "list-page": "list_page",
    "log-ingest": "log_ingest",
    "reorder-advice": "reorder_advice",
    "kit-issue": "kit_issue",
    "phone-open": "phone_open",
}
ROUNDS: Final = 41
QUICK_ROUNDS: Final = 3


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(BENCHMARKS))
    parser.add_argument("--json", action="store_true", help="print a list of objects")
    parser.add_argument("--quick", action="store_true", help="the smallest sizes, few rounds")
    parser.add_argument("--rounds", type=int, help=f"rounds that count ({ROUNDS})")
    given = parser.parse_args(arguments)
    if unknown := sorted(set(given.names) - set(BENCHMARKS)):
        parser.error(f"no benchmark is called {', '.join(unknown)}")
    if given.rounds is not None and given.rounds < 1:
        parser.error("at least one round is needed")
    options = Options(
        rounds=given.rounds or (QUICK_ROUNDS if given.quick else ROUNDS), quick=given.quick
    )
    results: list[Result] = []
    is_wrong = False
    with database.environment() as databases:
        for name in given.names or BENCHMARKS:
            say(f"{name} …")
            try:
                module = import_module(f"tests.benchmarks.{BENCHMARKS[name]}")
                results += module.run(options, databases)
            except WrongAnswer as wrong:
                is_wrong = True
                say(f"{name}: wrong answer: {wrong}")
    if given.json:
        print(json.dumps([result.as_json() for result in results], indent=2))
    else:
        print("\n".join(table(results)))
    return 1 if is_wrong else 0


def table(results: Sequence[Result]) -> Iterator[str]:
    """The results as people read them, with how the cost grew from size to size."""
    yield (
        f"{'name':13} {'database':11} {'size':34} {'floor ms':>9} {'ours ms':>9} "
        f"{'ratio':>6} {'goal':>5}"
    )
    smallest: dict[tuple[str, str], Result] = {}
    for each in results:
        first = smallest.setdefault((each.name, each.of), each)
        grown = "" if first is each else f", {each.ours_s / first.ours_s:.2f} × the smallest"
        yield (
            f"{each.name:13} {each.database:11} {each.shown_size:34} {each.floor_s * 1e3:9.2f} "
            f"{each.ours_s * 1e3:9.2f} {each.ratio:6.2f} {each.goal:5.2f} "
            f"{'met' if each.is_met else 'not met'}{grown}"
        )


if __name__ == "__main__":
    sys.exit(main())
