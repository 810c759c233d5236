"""python -m tests.equipment.dueoracle [SEEDS] [FIRST]: more shops than the suite has time for."""

import sys

from tests.benchmarks import database


def main() -> int:
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
    wrong = 0
    with database.environment() as databases, databases.throwaway():
        from tests.equipment.dueoracle.against import try_seed

        for seed in range(first, first + seeds):
            if found := try_seed(seed, steps=60):
                wrong += 1
                print(f"seed {seed}:", *found, sep="\n  ", flush=True)
    print(f"{seeds} shops, {wrong} of them with differences.")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
