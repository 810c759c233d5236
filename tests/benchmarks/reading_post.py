"""reading-post: a reading sent by somebody signed in, with all that follows from it."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Final
from uuid import uuid4

from django.db import connection, transaction
from django.utils import timezone

from equipment.models import Counter, Reading
from tests.benchmarks import worlds
from tests.benchmarks.database import Databases, analyze
from tests.benchmarks.measure import POSTGRESQL, SQLITE, Options, Result, must, say, take_turns

NAME: Final = "reading-post"
GOALS: Final = {SQLITE: 1.3, POSTGRESQL: 1.5}
#: Rounds that do not count.
WARM: Final = 3
#: Past readings in the larger table, or a few more.
MANY: Final = 30_000
#: What a pump counts in a minute or so.
COUNTED: Final = 40


def run(options: Options, databases: Databases) -> list[Result]:
    """Few readings in the table, then many: the cost of one more should not grow with them."""
    results = []
    # Every round sends to a rig of its own, as a shop does: two turns of a face in one second
    # would be refused as impossible.
    rigs = options.rounds + WARM
    many = 2 if options.quick else -(-MANY // (rigs * len(worlds.FACES)))
    for each_face in (1, many):
        with databases.throwaway():
            results.append(measured(options, rigs=rigs, readings_each=each_face))
    return results


def measured(options: Options, *, rigs: int, readings_each: int) -> Result:
    """One size, in the database there is."""
    now = timezone.now()
    shop, manager = worlds.shop(at=now)
    of_a_rig = worlds.fleet(rigs=rigs, readings=readings_each, author=manager, at=now)
    analyze()
    client = worlds.client_of(manager)
    ours = list(Counter.objects.filter(name="Strokes A").select_related("rig").order_by("pk"))
    before = Reading.objects.count()
    bare_url = f"/bare/row/{ours[0].pk}/"

    def send(number: int) -> None:
        counter = ours[number]
        answer = client.post(
            f"/rigs/{counter.rig.number}/readings/",
            {
                "request_id": str(uuid4()),
                f"c{counter.pk}-value": str(counter.last_value + COUNTED),
            },
        )
        must(answer.status_code == 302, f"the readings page answered {answer.status_code}")

    def insert(number: int) -> None:
        answer = client.post(bare_url, {"request_id": str(uuid4()), "value": str(number)})
        must(answer.status_code == 302, f"the bare page answered {answer.status_code}")

    floor_s, ours_s = take_turns(send, insert, rounds=options.rounds, warm=WARM)
    check(shop, ours, before)
    say(f"  {before:,} readings there, {of_a_rig} due rows a rig")
    return Result(
        name=NAME,
        database=connection.vendor,
        size=f"{before:,} past readings",
        floor_s=floor_s,
        ours_s=ours_s,
        goal=GOALS[connection.vendor],
    )


def check(shop: worlds.Shop, sent: Sequence[Counter], before: int) -> None:
    """Each reading is there once, its face moved on, and all that is kept agrees with it."""
    kept = Reading.objects.in_force().count() - before
    must(kept == len(sent), f"{len(sent)} readings were sent, and {kept} are kept")
    for counter in sent:
        shown = Counter.objects.get(pk=counter.pk).last_value
        must(
            shown == counter.last_value + Decimal(COUNTED),
            f"the face of rig {counter.rig.number} shows {shown}",
        )
    with transaction.atomic():
        worlds.agrees(shop.zone)
