"""What each rig's drawer should hold: computed at the turn of the day, or set by hand."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, Final

from django.db import transaction
from django.db.models import Sum

from equipment.due import FAR_DATE
from equipment.models import Due, ServiceVersion, Skill
from inventory import drawer_target
from inventory.drawer_target import Carried, Need
from inventory.models import Balance, KitLine, Location, Part, StockAdvice, StockPolicy
from inventory.services import StockRefused, set_policy
from shop import duelist, odds
from shop.models import PartsNeed, Person, RigDrawer, Role, Shop

#: A rig without a next stay is topped up again after so long. Common practice, no source. [d]
USUAL_DAYS: Final = 28
#: Rows written at a time.
BATCH: Final = 500


@dataclass(frozen=True, slots=True)
class KeptPart:
    """A part that a drawer should hold, or does. All in [steps].

    target_steps: by hand where a manager said so, else computed; here_steps: in date.
    """

    part: Part
    target_steps: int
    here_steps: int
    policy: StockPolicy | None
    advice: StockAdvice | None

    @property
    def lacks_steps(self) -> int:
        return max(0, self.target_steps - self.here_steps)

    @property
    def is_by_hand(self) -> bool:
        return self.policy is not None

    def why_text(self, symbol: str) -> str:
        """Why so many are computed, in words; empty where no service of the rig asks for it."""
        return drawer_target.reason(self.advice.figures, symbol=symbol) if self.advice else ""


def reckon_drawer_targets(*, shop: Shop, today: date) -> int:
    """Work out anew what every rig's drawer should hold; return how many rows there are now.

    By rig: the services that may fall due before its next stay and are on no sheet yet, with the
    odds kept for it, and what breaks unplanned. The policies of the drawers follow, in the name of
    the first manager; a number set by hand stands, untouched. Of two at once the second waits.
    """
    drawers = list(RigDrawer.objects.select_related("rig", "location").order_by("rig"))
    inside = _in_kits()
    rows: list[StockAdvice] = []
    with transaction.atomic():
        Shop.objects.select_for_update().get(pk=shop.pk)  # two would each add the same rows
        for drawer in drawers:
            rows += _advice(drawer, inside, shop=shop, today=today)
        places = [each.location_id for each in drawers]
        StockAdvice.objects.filter(location__in=places).delete()
        StockAdvice.objects.bulk_create(rows, batch_size=BATCH)
        _follow(rows, places, at=datetime.combine(today, time.min, tzinfo=shop.zone))
    return len(rows)


def _follow(rows: Sequence[StockAdvice], places: Sequence[int], *, at: datetime) -> None:
    """Let the policies of drawers be what was computed, where nobody set one by hand."""
    policies = StockPolicy.objects.filter(location__in=places)
    by_hand = set(policies.filter(by_hand=True).values_list("location", "part"))
    policies.filter(by_hand=False).delete()
    author = Person.objects.filter(role=Role.MANAGER, is_active=True).order_by("pk").first()
    if author is None:
        return
    StockPolicy.objects.bulk_create(
        (
            _followed(row, author, at)
            for row in rows
            if row.order_up_to_steps and (row.location_id, row.part_id) not in by_hand
        ),
        batch_size=BATCH,
    )


def _followed(row: StockAdvice, author: Person, at: datetime) -> StockPolicy:
    return StockPolicy(
        part_id=row.part_id,
        location_id=row.location_id,
        reorder_point_steps=row.reorder_point_steps,
        order_up_to_steps=row.order_up_to_steps,
        set_by=author,
        set_at=at,
        by_hand=False,
    )


def _advice(
    drawer: RigDrawer, inside: Mapping[int, Mapping[int, int]], *, shop: Shop, today: date
) -> Iterable[StockAdvice]:
    stay = drawer.rig.stay_on
    until = stay if stay != FAR_DATE and stay > today else today + timedelta(days=USUAL_DAYS)
    dues = list(
        Due.objects.filter(rig=drawer.rig_id, is_listed=True)
        .select_related("version__service", "component")
        .order_by("pk")
    )
    # A bigger service that falls due by then stands for the smaller, and a sheet has its own parts.
    own = [due for due in dues if due.bigger_date >= until]
    sheets = duelist.sheets_of(own)
    own = [due for due in own if (due.component_id, due.version_id) not in sheets]
    chances = odds.before(own, until, zone=shop.zone)
    asked: dict[Part, list[Need]] = defaultdict(list)
    in_the_shop: dict[Part, str] = {}
    by_service: dict[int, list[PartsNeed]] = defaultdict(list)
    wanted = PartsNeed.objects.filter(service__in={due.version.service_id for due in own})
    for row in wanted.select_related("part").order_by("part__number", "pk"):
        by_service[row.service_id].append(row)
    for due in own:
        chance = 1.0 if odds.is_known_due(due, today=today) else 0.0
        if not chance and (found := chances.get(due.pk)):
            chance = found.due / 1000
        for row in by_service[due.version.service_id]:
            name = f"{due.component}, {due.version.service.name}"
            needs = asked[row.part]
            if _is_field_work(due.version):
                needs.append(Need(chance, row.quantity_steps, name))
            else:
                in_the_shop[row.part] = name
    kits_aboard: dict[int, int] = {}
    # Kits first: what lies in one is aboard already.
    for part, needs in sorted(asked.items(), key=lambda each: (not each[0].is_kit, each[0].number)):
        if part.retired:
            continue
        piece = drawer_target.piece_of(needs, steps_per_unit=part.steps_per_unit)
        carried = Carried(
            needs=tuple(needs),
            days=(until - today).days,
            piece_steps=piece,
            piece_cents=part.cost_of(piece),
            # What nobody renews on a job is not mended there either.
            unplanned_a_year=drawer_target.UNPLANNED_A_YEAR if needs else 0.0,
            stops_share=drawer_target.STOPS_SHARE,
            handling_cents=drawer_target.HANDLING_CENTS,
        )
        target = drawer_target.drawer_target(carried)
        if part.is_kit:
            kits_aboard[part.pk] = target.steps
        in_kits = sum(
            kits_aboard.get(kit, 0) * steps for kit, steps in inside.get(part.pk, {}).items()
        )
        kept = max(0, target.steps - in_kits)
        yield StockAdvice(
            part=part,
            location=drawer.location,
            reorder_point_steps=max(0, kept - piece),
            order_up_to_steps=kept,
            figures={
                **drawer_target.figures_of(carried, target),
                "in_kit_steps": min(in_kits, target.steps),
                "in_the_shop": "" if needs else in_the_shop[part],
                "kind": "drawer",
                "until": until.isoformat(),
            },
            reckoned_on=today,
        )


def _is_field_work(version: ServiceVersion) -> bool:
    """Whether a crew does it on a job: without an outside firm or the electrician, in two hours."""
    return (
        version.skill in (Skill.OPERATOR, Skill.TECHNICIAN)
        and version.labour_minutes <= drawer_target.FIELD_MINUTES
    )


def _in_kits() -> dict[int, dict[int, int]]:
    """By part, how much of it lies in each kit. [steps]"""
    found: dict[int, dict[int, int]] = defaultdict(dict)
    for kit, part, steps in KitLine.objects.values_list("kit", "part", "quantity_steps"):
        found[part][kit] = steps
    return found


def kept_in(drawers: Sequence[Location], *, today: date | None = None) -> dict[int, list[KeptPart]]:
    """Return what each drawer should hold and holds, by its key, in order of part numbers.

    today: what is past its use-by day does not count; None: all counts. A fixed number of queries.
    """
    here: dict[tuple[int, int], int] = {}
    lying = Balance.objects.there().filter(location__in=drawers)
    if today is not None:
        lying = lying.filter(lot__expires_on__gte=today)
    for place, part, steps in (
        lying.order_by().values_list("location", "part").annotate(steps=Sum("quantity_steps"))
    ):
        here[place, part] = steps
    advice = {
        (row.location_id, row.part_id): row
        for row in StockAdvice.objects.filter(location__in=drawers)
    }
    policies = {
        (row.location_id, row.part_id): row
        for row in StockPolicy.objects.filter(location__in=drawers, by_hand=True).select_related(
            "set_by"
        )
    }
    keys: set[tuple[Any, int]] = {*here, *advice, *policies}
    parts = Part.objects.in_bulk({part for _, part in keys})
    found: dict[int, list[KeptPart]] = defaultdict(list)
    for place, part in sorted(keys, key=lambda key: (key[0], parts[key[1]].number)):
        policy, advised = policies.get((place, part)), advice.get((place, part))
        target = policy.order_up_to_steps if policy else 0
        if policy is None and advised is not None:
            target = advised.order_up_to_steps
        found[place].append(
            KeptPart(parts[part], target, here.get((place, part), 0), policy, advised)
        )
    return found


def set_target(
    *,
    part: Part,
    drawer: Location,
    steps: int,
    reason: str,
    review_on: date,
    author: Person,
    at: datetime,
) -> StockPolicy:
    """Say by hand what a drawer holds of a part, until somebody looks at it again.

    steps: >= 0. Raises StockRefused.
    """
    if drawer.kind != Location.Kind.DRAWER:
        raise StockRefused(f"{drawer} is no rig drawer.")
    if steps < 0:
        raise StockRefused("A drawer cannot hold less than nothing.")
    if not reason.strip():
        raise StockRefused("Say why.")
    return set_policy(
        part=part,
        location=drawer,
        reorder_point_steps=max(0, steps - 1),
        order_up_to_steps=steps,
        author=author,
        at=at,
        reason=reason.strip(),
        review_on=review_on,
    )


def follow_computed(*, part: Part, drawer: Location, author: Person, at: datetime) -> bool:
    """Let the computed number stand again; return whether one was set by hand."""
    with transaction.atomic():
        policies = StockPolicy.objects.filter(part=part, location=drawer, by_hand=True)
        if not policies.delete()[0]:
            return False
        row = StockAdvice.objects.filter(part=part, location=drawer).first()
        if row is not None and row.order_up_to_steps:
            _followed(row, author, at).save()
        return True
