"""Did what was said come true? python -m tests.equipment.dueoracle.calibrate [SHOPS] [RIGS] [LINE…]

So many shops a line (`lived.KINDS`), each of so many rigs; all lines, or those by number.
"""

import sys

from tests.benchmarks import database


def main() -> None:
    shops = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    rigs = int(sys.argv[2]) if len(sys.argv) > 2 else 12
    with database.environment() as databases, databases.throwaway():
        from tests.equipment.dueoracle.lived import KINDS, line, run

        asked = [int(each) for each in sys.argv[3:]] or range(len(KINDS))
        for number in asked:
            kind = KINDS[number]
            print(line(kind, run(kind, shops=shops, rigs=rigs, seed=1000 * number)), flush=True)


if __name__ == "__main__":
    main()
