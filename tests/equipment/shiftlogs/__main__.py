"""`python -m tests.equipment.shiftlogs [strange] [NUMBER…]`: show drawn logs, or count over all."""

import sys
import traceback
from collections import Counter
from collections.abc import Callable

from .drawn import Draw
from .strangers import Stranger
from .subject import talk
from .survey import judge

DRAWS = 500


def show(number: int, family: Callable[[int], Draw]) -> None:
    log = family(number).written
    text = log.data.decode(log.style.encoding.removesuffix("-mark"))
    print(text[:1200])
    print(log.style)
    print("doubts", log.doubts)
    print("truth", log.answers)
    print(judge(number, family))
    print(talk(log).days)


def survey(family: Callable[[int], Draw]) -> None:
    asked: Counter[str] = Counter()
    needless: Counter[str] = Counter()
    faulty, silent, over = [], 0, []
    for number in range(DRAWS):
        try:
            verdict = judge(number, family)
        except Exception:
            print(number, traceback.format_exc(limit=-2).replace("\n", " | ")[-400:])
            faulty.append(number)
            continue
        asked.update(verdict.asked)
        needless.update(verdict.needless.keys())
        silent += not verdict.asked
        if verdict.needless:
            over.append(number)
            print(number, "needless:", verdict.needless)
        if verdict.faults:
            faulty.append(number)
            print(number, *verdict.faults[:3], sep="\n    ")
    print(f"{DRAWS} drawn: {len(faulty)} faulty {faulty}")
    print(f"{silent} without a question; asked: {dict(asked)}")
    print(f"asked although the text decided: {len(over)} {over}, {dict(needless)}")


if __name__ == "__main__":
    kind: Callable[[int], Draw] = Stranger if "strange" in sys.argv else Draw
    if numbers := [int(each) for each in sys.argv[1:] if each.isdigit()]:
        for each in numbers:
            show(each, kind)
    else:
        survey(kind)
