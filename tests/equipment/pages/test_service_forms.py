"""Asking for a service without a script: every kind of trigger, checks, copies, new versions."""

from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import (
    Basis,
    Caution,
    Check,
    Due,
    Season,
    Service,
    ServiceVersion,
    Trigger,
)
from equipment.services import CheckPlan
from tests.equipment.factories import SprayRig, service_for
from tests.equipment.pages.browsing import Page, filled, html_of, keeps, said, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def packing(spray: SprayRig) -> ServiceVersion:
    return service_for(
        spray.pump("A"),
        ("strokes", 10_000),
        ("days", 365),
        name="packing",
        tolerance_percent=Decimal(10),
        source="general trade knowledge",
        basis=Basis.COMMON_PRACTICE,
        checks=[
            CheckPlan(text="Rod smooth"),
            CheckPlan(text="Drift", kind=Check.Kind.VALUE, unit="psi", high=Decimal(50)),
            CheckPlan(text="Bore", kind=Check.Kind.CHOICE, choices=("good", "worn"), hint="Look"),
        ],
        cautions=[Caution.objects.create(code="SC02", hazard="Pressure", text="Bleed it.")],
    )


@pytest.fixture
def change(desk: Client, packing: ServiceVersion) -> Page:
    return Page(desk, "equipment:change_service", packing.service.pk)


def send(page: Page, **typed: Any) -> Any:
    """The page's own form sent, with this typed over what stands in it; None: box not ticked."""
    data = {**filled(page.shown), **typed}
    sent = {name: value for name, value in data.items() if value is not None}
    return page.client.post(page.url, sent)


def desk_page(change: Page, version: ServiceVersion) -> Any:
    """The page on which the service is read."""
    return change.client.get(reverse("equipment:service", args=[version.service.pk]))


def current(version: ServiceVersion) -> ServiceVersion:
    return version.service.versions.get(is_current=True)


def triggers(version: ServiceVersion) -> list[tuple[Any, ...]]:
    """What makes it due now, as (measure, interval, …what else is set)."""
    names = ("first_at", "season__name", "after__name", "watched", "low", "high")
    rows = current(version).triggers.order_by("pk").values_list("measure", "interval", *names)
    return [(*row[:2], *(each for each in row[2:] if each not in (None, ""))) for row in rows]


class TestPublishing:
    def test_untouched_it_says_the_same_in_a_new_version(
        self, change: Page, packing: ServiceVersion
    ) -> None:
        """The form loses nothing of what a version holds."""
        answer = send(change)
        assert said(answer) == "Version 2 counts from now on."
        new = current(packing)
        read = text_of(change.client.get(reverse("equipment:service", args=[new.service.pk])))
        assert "It asks for the same as the one before." in read
        assert new.basis == Basis.COMMON_PRACTICE
        assert list(new.cautions.all()) == list(packing.cautions.all())

    def test_a_changed_figure_is_the_shops_own(self, change: Page, packing: ServiceVersion) -> None:
        send(change, every_strokes="8,000", every_days="")
        assert triggers(packing) == [("strokes", 8_000)]
        assert {due.interval for due in Due.objects.all()} == {8_000}
        assert current(packing).basis == Basis.SHOP

    def test_sent_twice_it_is_published_once(self, change: Page, packing: ServiceVersion) -> None:
        send(change, every_strokes="8000")
        answer = send(change, every_strokes="8000")
        assert answer.status_code == 422
        assert "Version 2 was published meanwhile, by A. Manager." in text_of(answer)
        assert keeps(answer, "every_strokes", "8000")
        assert packing.service.versions.count() == 2

    @pytest.mark.parametrize(
        ("typed", "expected"),
        [
            ({"every_hours": "250"}, ("hours", 250)),
            ({"every_hours": "250", "first_hours": "50"}, ("hours", 250, 50)),
            ({"every_strokes": "5 000", "first_strokes": "900"}, ("strokes", 5_000, 900)),
            ({"every_gallons": "2000.5"}, ("gallons", Decimal("2000.5"))),
            ({"every_days": "28"}, ("days", 28)),
            ({"every_months": "12"}, ("months", 12)),
            ({"days_idle": "28"}, ("idle", 28)),
            ({"days_job": "2"}, ("job", 2)),
            (
                {
                    "values-0-watched": "Drift",
                    "values-0-low": "−5",
                    "values-0-high": "50",
                    "values-0-days": "14",
                },
                ("value", 14, "Drift", -5, 50),
            ),
        ],
    )
    def test_each_kind_of_trigger(
        self,
        change: Page,
        packing: ServiceVersion,
        typed: dict[str, str],
        expected: tuple[Any, ...],
    ) -> None:
        send(change, **{"every_strokes": "", "every_days": "", **typed})
        assert triggers(packing) == [expected]
        # What was published stands in the form again.
        shown = change.client.get(change.url)
        again = filled(shown)
        for name, value in typed.items():
            kept = again[name][0].replace(",", "").replace("-", "−")
            assert kept == value.replace(" ", ""), name

    def test_a_cleanliness_code_has_a_code_for_its_limit(
        self, change: Page, packing: ServiceVersion
    ) -> None:
        typed = {
            "checks-3-text": "Particle code",
            "checks-3-kind": "value",
            "checks-3-unit": "ISO 4406",
            "checks-3-high": "20/18/15",
            "values-0-watched": "Particle code",
            "values-0-high": "20/18/15",
            "values-0-days": "14",
        }
        assert said(send(change, **typed)) == "Version 2 counts from now on."
        check = current(packing).checks.get(text="Particle code")
        assert (check.unit, check.low, check.high) == ("ISO 4406", None, 201815)
        assert triggers(packing)[-1] == ("value", 14, "Particle code", 201815)
        shown = change.client.get(change.url)
        again = {name: value[0] for name, value in filled(shown).items()}
        assert again["checks-3-high"] == again["values-0-high"] == "20/18/15"
        read = text_of(desk_page(change, packing))
        assert "measured value, at most 20/18/15 ISO 4406" in read
        assert (
            "when “Particle code” is over 20/18/15 ISO 4406, or 14 days before it will be" in read
        )

    def test_a_dew_point_is_said_with_its_class(
        self, change: Page, packing: ServiceVersion
    ) -> None:
        send(change, **{"checks-1-unit": "°F dew point"})
        assert "at most 50 °F dew point (water class 6)" in text_of(desk_page(change, packing))

    def test_before_a_day_of_the_year(self, desk: Client, packing: ServiceVersion) -> None:
        frost = Season.objects.create(name="first frost", month=10, day=15)
        page = Page(desk, "equipment:change_service", packing.service.pk)
        send(page, every_strokes="", every_days="", season=str(frost.pk), days_season="30")
        assert triggers(packing) == [("season", 30, "first frost")]
        read = text_of(desk.get(reverse("equipment:service", args=[packing.service.pk])))
        assert "before first frost, 15 Oct; done within 30 days before it, it counts" in read

    def test_after_other_services_two_of_them(
        self, desk: Client, spray: SprayRig, packing: ServiceVersion
    ) -> None:
        balls = service_for(spray.pump("A"), ("days", 90), name="balls").service
        gun = service_for(spray.components["gun"], ("days", 90), name="tip").service
        page = Page(desk, "equipment:change_service", packing.service.pk)
        page.shown = desk.post(page.url, {**filled(page.shown), "more": "after"})
        assert page.shown.status_code == 200
        send(
            page,
            **{
                "every_strokes": "",
                "every_days": "",
                "after-0-after": str(balls.pk),
                "after-0-days": "1",
                "after-1-after": str(gun.pk),
                "after-1-days": "3",
            },
        )
        assert triggers(packing) == [("after", 1, "balls"), ("after", 3, "tip")]

    def test_what_else_a_version_says(
        self, desk: Client, spray: SprayRig, packing: ServiceVersion
    ) -> None:
        stall = service_for(spray.pump("A"), ("days", 30), name="stall test").service
        page = Page(desk, "equipment:change_service", packing.service.pk)
        send(
            page,
            rule="all",
            tolerance_percent="",
            early_percent="12.5",
            is_hard_limit="on",
            renews="fixed",
            is_rebuild="on",
            condition_sign="drips",
            instructions="Bleed, open, renew.",
            labour_minutes="150",
            skill="electrician",
            includes=[str(stall.pk)],
            only_rigs="4",
            cautions=[],
        )
        new = current(packing)
        assert (new.rule, new.early_percent, new.renews) == ("all", Decimal("12.5"), "fixed")
        assert (new.is_hard_limit, new.is_rebuild, new.tolerance_percent) == (True, True, 0)
        assert (new.condition_sign, new.instructions) == ("drips", "Bleed, open, renew.")
        assert (new.labour_minutes, new.skill) == (150, "electrician")
        assert list(new.includes.all()) == [stall]
        assert list(new.service.only_rigs.all()) == [spray.rig]
        assert not new.cautions.exists()


class TestChecks:
    def test_added_moved_changed_and_taken_out(self, change: Page, packing: ServiceVersion) -> None:
        send(
            change,
            **{
                "checks-0-place": "2",  # “Rod smooth” behind the second …
                "checks-1-place": "1",  # … which comes first,
                "checks-1-high": "45.5",  # with a new limit;
                "checks-2-remove": "on",  # the third goes,
                "checks-3-text": "Sensor off",  # and one comes.
                "checks-3-kind": "value",
                "checks-3-low": "-5",
                "checks-3-high": "5",
                "checks-3-unit": "°F",
                "checks-3-needs_electrician": "on",
            },
        )
        assert [
            (each.order, each.text, each.low, each.high, each.unit, each.needs_electrician)
            for each in current(packing).checks.order_by("order")
        ] == [
            (1, "Drift", None, Decimal("45.5"), "psi", False),
            (2, "Rod smooth", None, None, "", False),
            (3, "Sensor off", -5, 5, "°F", True),
        ]

    def test_moved_to_the_place_of_another_it_stands_before_it(
        self, change: Page, packing: ServiceVersion
    ) -> None:
        send(change, **{"checks-2-place": "1"})
        assert list(current(packing).checks.order_by("order").values_list("text", flat=True)) == [
            "Bore", "Rod smooth", "Drift",
        ]  # fmt: skip

    def test_choices_and_hints_stay(self, change: Page, packing: ServiceVersion) -> None:
        send(change, **{"checks-2-choices": "good\r\n\r\nworn\r\nreplaced"})
        bore = current(packing).checks.get(text="Bore")
        assert (bore.choices, bore.hint) == (["good", "worn", "replaced"], "Look")

    def test_more_rows_keep_what_was_typed(self, change: Page, packing: ServiceVersion) -> None:
        typed = {
            **filled(change.shown),
            "checks-3-text": "Half typed",
            "checks-0-remove": "on",
            "every_hours": "lots",
            "renews": "fixed",
            "is_rebuild": "on",
            "more": "checks",
        }
        answer = change.client.post(change.url, typed)
        assert answer.status_code == 200
        assert keeps(answer, "checks-3-text", "Half typed")
        assert keeps(answer, "every_hours", "lots")
        assert keeps(answer, "checks-6-text", "") or 'name="checks-6-text"' in html_of(answer)
        kept = filled(answer)
        assert kept["renews"] == ["fixed"]
        assert kept["is_rebuild"] == ["on"]
        assert kept["checks-0-remove"] == ["on"]
        assert kept["cautions"] == [str(packing.cautions.get().pk)]
        assert packing.service.versions.count() == 1


class TestRefusals:
    @pytest.mark.parametrize(
        ("typed", "words"),
        [
            ({"every_strokes": "0"}, "Give a number above zero."),
            ({"every_strokes": "lots"}, "Write a number"),
            ({"every_days": "30.5"}, "At most 0 decimals."),
            ({"every_months": "1.5"}, "At most 0 decimals."),
            ({"first_hours": "50"}, "And then every so many hours?"),
            ({"days_season": "30"}, "Choose the day of the year."),
            ({"tolerance_percent": "120"}, "A tolerance lies between 0 and 100 per cent."),
            ({"early_percent": "100"}, "It may be done early by 0 to 99 per cent."),
            ({"is_hard_limit": "on"}, "A limit set by law has no tolerance."),
            ({"labour_minutes": "20000"}, "That is more than a week."),
            ({"only_rigs": "4, 77"}, "There is no rig 77."),
            ({"only_rigs": "the old one"}, "Write the numbers of rigs, like 4, 7."),
            ({"only_rigs": "²"}, "Write the numbers of rigs, like 4, 7."),
            ({"condition_sign": "x" * 201}, "at most 200 characters"),
            ({"includes": ["999"]}, "Select a valid choice."),
            ({"after-0-days": "1"}, "Choose the service."),
            ({"values-0-high": "5"}, "Name what is measured, as the check of a sheet does."),
            (
                {"values-0-watched": "Drift", "values-0-days": "1"},
                "Give a limit: over, below, or both.",
            ),
            ({"values-0-watched": "Drift", "values-0-high": "5"}, "This is needed."),
            (
                {"values-0-watched": "Heat", "values-0-high": "5", "values-0-days": "1"},
                "No check measures that. There is: Drift.",
            ),
            (
                {
                    "values-0-watched": "Drift",
                    "values-0-low": "6",
                    "values-0-high": "5",
                    "values-0-days": "1",
                },
                "The upper limit lies below the lower.",
            ),
            ({"checks-0-text": "", "checks-0-hint": "how"}, "Say what is checked"),
            ({"checks-0-high": "5"}, "Only a measured value has limits."),
            ({"checks-1-low": "60"}, "The upper limit lies below the lower."),
            ({"checks-2-choices": "good"}, "Give at least two choices."),
            ({"checks-1-choices": "good\nbad"}, "These choices want “choose one”."),
            ({"checks-1-high": "999999999"}, "That number is too large."),
            ({"checks-1-unit": "ISO 4406"}, "Write the limit of a code like 20/18/15."),
            ({"checks-1-high": "20/18/15"}, "A code is a limit of values in ISO 4406 only."),
            ({"checks-1-high": "15/18/20"}, "fall or stay level"),
            (
                {
                    "checks-1-unit": "ISO 4406",
                    "checks-1-low": "16/14/11",
                    "checks-1-high": "20/18/15",
                },
                "Oil is never too clean: a code has an upper limit only.",
            ),
            (
                {
                    "values-0-watched": "Drift",
                    "values-0-high": "20/18/15",
                    "values-0-days": "1",
                },
                "A code is a limit of values in ISO 4406 only.",
            ),
        ],
    )
    def test_in_words_beside_the_field_with_nothing_lost(
        self, change: Page, packing: ServiceVersion, typed: dict[str, Any], words: str
    ) -> None:
        answer = send(change, **typed, source="typed before the slip")
        assert answer.status_code == 422
        assert words in text_of(answer)
        assert keeps(answer, "source", "typed before the slip")
        kept = filled(answer)
        for name, value in typed.items():
            if name != "includes":
                assert kept[name] == [value], name
        assert packing.service.versions.count() == 1

    def test_the_same_service_or_value_in_two_rows(
        self, desk: Client, spray: SprayRig, packing: ServiceVersion
    ) -> None:
        balls = service_for(spray.pump("A"), ("days", 90), name="balls").service
        page = Page(desk, "equipment:change_service", packing.service.pk)
        for more in ("after", "values"):
            page.shown = desk.post(page.url, {**filled(page.shown), "more": more})
        typed: dict[str, str] = {}
        for n in range(2):
            typed |= {f"after-{n}-after": str(balls.pk), f"after-{n}-days": "1"}
            typed |= {f"values-{n}-watched": "Drift", f"values-{n}-high": "5"}
            typed |= {f"values-{n}-days": "1"}
        answer = send(page, **typed)
        assert answer.status_code == 422
        assert "That service stands in another row, too." in text_of(answer)
        assert "That value stands in another row, too." in text_of(answer)

    def test_a_service_is_not_done_within_itself_nor_in_a_ring(
        self, desk: Client, spray: SprayRig, packing: ServiceVersion
    ) -> None:
        overhaul = service_for(
            spray.pump("A"), ("days", 900), name="overhaul", includes=[packing.service]
        ).service
        page = Page(desk, "equipment:change_service", packing.service.pk)
        assert send(page, includes=[str(packing.service.pk)]).status_code == 422
        answer = send(page, includes=[str(overhaul.pk)])
        assert answer.status_code == 422
        assert packing.service.versions.count() == 1

    def test_a_page_without_its_counts_of_rows(self, change: Page, packing: ServiceVersion) -> None:
        answer = send(change, **{"checks-TOTAL_FORMS": None})
        assert answer.status_code == 422
        assert "The page came incomplete." in text_of(answer)
        assert packing.service.versions.count() == 1


class TestNew:
    def test_the_kind_first_then_what_it_asks(self, desk: Client, spray: SprayRig) -> None:
        url = reverse("equipment:new_service")
        kind = spray.components["gun"].type.kind
        assert desk.get(url).status_code == 200
        assert desk.get(f"{url}?kind=").status_code == 422
        assert desk.get(f"{url}?kind=²").status_code == 422
        assert desk.get(f"{url}?kind={kind.pk}").headers["Location"] == reverse(
            "equipment:new_service_of", args=[kind.pk]
        )
        page = Page(desk, "equipment:new_service_of", kind.pk)
        typed = {
            "name": "tip",
            "every_gallons": "500",
            "checks-0-text": "Tip clean",
            "checks-2-text": "No drip",
        }
        answer = send(page, **typed)
        assert said(answer) == "“tip” is there. Next: the parts it needs."
        version = ServiceVersion.objects.get(service__name="tip")
        assert [check.text for check in version.checks.order_by("order")] == [
            "Tip clean", "No drip",
        ]  # fmt: skip
        assert Trigger.objects.get(version=version).interval == 500
        again = send(page, **typed)
        assert again.status_code == 422
        assert "This kind of component has a service of that name." in text_of(again)
        assert Service.objects.count() == 1

    def test_without_a_name(self, desk: Client, spray: SprayRig) -> None:
        page = Page(desk, "equipment:new_service_of", spray.components["gun"].type.kind_id)
        assert "This is needed." in text_of(send(page))
        assert not Service.objects.exists()

    def test_it_may_watch_a_value_of_its_own_new_check(self, desk: Client, spray: SprayRig) -> None:
        page = Page(desk, "equipment:new_service_of", spray.components["gun"].type.kind_id)
        typed = {
            "name": "bore",
            "checks-0-text": "Bore, largest",
            "checks-0-kind": "value",
            "values-0-watched": "Bore, largest",
            "values-0-high": "0.045",
            "values-0-days": "14",
        }
        assert send(page, **typed).status_code == 302
        assert Trigger.objects.get().high == Decimal("0.045")


class TestCopying:
    def test_to_another_name_side_and_rig_then_changed(
        self, desk: Client, spray: SprayRig, packing: ServiceVersion
    ) -> None:
        page = Page(desk, "equipment:copy_service", packing.service.pk)
        refused = send(page)
        assert refused.status_code == 422
        assert "This kind of component has a service of that name." in text_of(refused)
        answer = send(page, name="packing, new seal", side="B", only_rigs="4")
        made = Service.objects.get(name="packing, new seal")
        assert answer.headers["Location"] == reverse("equipment:change_service", args=[made.pk])
        assert (made.side, made.copied_from, list(made.only_rigs.all())) == (
            "B", packing.service, [spray.rig],
        )  # fmt: skip
        version = made.versions.get()
        assert triggers(version) == triggers(packing)
        assert version.checks.count() == 3
        assert list(version.cautions.all()) == list(packing.cautions.all())
        assert "Copied from packing" in text_of(
            desk.get(reverse("equipment:service", args=[made.pk]))
        )
