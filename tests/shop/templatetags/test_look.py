"""Tags, filters and components: what a template writes is what a page shows. No database."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import django_tables2 as tables
import pytest
from django import forms
from django.template import Context, Template
from django.template.loader import render_to_string
from django.test import RequestFactory
from django.utils import timezone

from shop.templatetags import look

#: A component is rendered alone: the frame of a page asks the database who is signed in.
BARE = {
    "BACKEND": "django.template.backends.django.DjangoTemplates",
    "APP_DIRS": True,
    "OPTIONS": {
        "context_processors": ["django.template.context_processors.request"],
        "builtins": ["django.templatetags.i18n", "shop.templatetags.look"],
    },
}


@pytest.fixture(autouse=True)
def _bare_templates(settings: Any) -> None:
    settings.TEMPLATES = [BARE | {"DIRS": settings.TEMPLATES[0]["DIRS"]}]


def render(source: str, **context: Any) -> str:
    return Template("{% load look %}" + source).render(Context(context))


@pytest.mark.parametrize(
    ("cents", "said"),
    [
        (123450, "$1,234.50"),
        (0, "$0.00"),
        (-5, "−$0.05"),
        (100_000_000_00, "$100,000,000.00"),
        (None, ""),
    ],
)
def test_money(cents: int | None, said: str) -> None:
    assert look.money(cents) == said


def test_money_takes_the_shops_symbol() -> None:
    assert render('{{ c|money:"€" }}', c=1999) == "€19.99"


@pytest.mark.parametrize(
    ("when", "today", "said"),
    [
        (date(2026, 11, 25), date(2026, 1, 1), "25 Nov"),
        (date(2027, 3, 4), date(2026, 12, 31), "4 Mar 2027"),
        (date(2027, 3, 4), None, "4 Mar"),
        (None, None, ""),
    ],
)
def test_day_names_the_year_only_when_it_is_another(
    when: date | None, today: date | None, said: str
) -> None:
    assert look.day(when, today) == said


def test_day_and_weekday_speak_in_the_shops_zone() -> None:
    late = datetime(2026, 11, 26, 3, 0, tzinfo=UTC)
    with timezone.override("America/Chicago"):
        assert look.day(late) == "25 Nov"
        assert look.weekday(late) == "Wed 25 Nov"


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (12480, "12,480"),
        (Decimal("0.50"), "0.5"),
        (Decimal("-3"), "−3"),
        (Decimal("-0.00"), "0"),
        (Decimal("1000"), "1,000"),
        ("n/a", "n/a"),
        (None, ""),
    ],
)
def test_figure(number: Any, said: str) -> None:
    assert look.figure(number) == said


def test_a_bin_without_stencil_falls_back_to_escaped_text() -> None:
    assert "<svg" in render("{% stencil 7 %}")
    assert "K-03&lt;" in render('{% stencil "K-03<" %}')
    assert render("{% stencil None %}") == ""


def test_a_missing_tape_draws_nothing() -> None:
    assert render("{% tape t %}", t=None) == ""


class ReadingForm(forms.Form):
    shown = forms.CharField(label="Generator hours", help_text="What the face shows.")
    note = forms.CharField(label="Note", required=False)
    reset = forms.BooleanField(label="It was reset", required=False)


def test_a_refused_field_keeps_what_was_typed_and_names_its_error() -> None:
    form = ReadingForm({"shown": '1028"<', "note": ""})
    form.is_valid()
    form.add_error("shown", "Lower than the last reading.")
    html = render_to_string("_partials/form.html", {"form": form})
    assert 'value="1028&quot;&lt;"' in html
    assert 'aria-invalid="true"' in html
    assert 'aria-describedby="id_shown_help id_shown_error"' in html
    assert 'id="id_shown_error"' in html
    assert 'id="id_shown_help"' in html
    assert "Lower than the last reading." in html
    # The good field beside it says nothing of the kind.
    assert html.count("aria-invalid") == 1
    assert "style=" not in html


def test_the_second_form_of_a_class_does_not_inherit_the_errors_of_the_first() -> None:
    first = ReadingForm({"shown": ""})
    first.is_valid()
    render_to_string("_partials/form.html", {"form": first})
    html = render_to_string("_partials/form.html", {"form": ReadingForm()})
    assert "aria-invalid" not in html


class RigTable(tables.Table):
    number = tables.Column(verbose_name="Rig")
    name = tables.Column(verbose_name="Name", orderable=False, attrs={"td": {"class": "num"}})

    class Meta:
        attrs = {"class": "table table-stack ledger"}
        empty_text = "No rigs yet."


def rendered(rows: list[dict[str, Any]], address: str, **paginate: Any) -> str:
    request = RequestFactory().get(address)
    table = RigTable(rows, order_by=request.GET.get("sort"))
    if paginate:
        table.paginate(**paginate)
    return Template("{% load django_tables2 %}{% render_table table %}").render(
        Context({"table": table, "request": request})
    )


def test_a_list_says_how_it_is_sorted_and_pages_in_words() -> None:
    rows = [{"number": n, "name": f"Rig <{n}>"} for n in range(58)]
    html = rendered(rows, "/rigs?sort=-number&side=A", page=2, per_page=9)
    assert 'aria-sort="descending"' in html
    assert "10 – 18 of 58 shown." in html
    assert "Next 9" in html
    assert "Previous 9" in html
    assert "side=A" in html
    assert 'data-label="Rig"' in html
    assert "Rig &lt;48&gt;" in html
    assert 'class="table table-stack ledger"' in html


def test_an_empty_list_says_so_and_has_no_pages() -> None:
    html = rendered([], "/rigs", page=1, per_page=9)
    assert "No rigs yet." in html
    assert "pager" not in html


@pytest.mark.parametrize("name", ["403.html", "404.html", "403_csrf.html", "500.html"])
def test_error_pages_need_nothing_and_say_what_next(name: str) -> None:
    html = render_to_string(name)
    assert 'href="/"' in html
    assert "Oops" not in html
    assert "!" not in html.replace("<!DOCTYPE", "")
    assert " style=" not in html
    assert "<style" not in html


def test_the_frame_has_no_inline_script_and_names_where_we_are() -> None:
    words = ("Today", "Rigs", "Due", "Sheets", "Parts", "Buying")
    nav = [(word, f"/{word}", word == "Parts") for word in words]
    html = render_to_string(
        "base.html", {"nav": nav, "shop_name": "A & B", "person": ("J. Doe", "Manager")}
    )
    assert "A &amp; B" in html
    assert html.count('aria-current="page"') == 2  # on the desk, and under "More" on a phone
    assert 'class="holds-current"' in html
    for part in html.split("<script")[1:]:
        assert part.split(">")[0].count("src=") == 1
        assert part.split(">", 1)[1].startswith("</script>")
    assert "http://" not in html.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in html


def test_a_held_rig_says_so_and_why() -> None:
    finding = {"text": "cover split <joint 3>", "place": "9 Heated hose", "url": "/found/1"}
    html = render_to_string("_partials/hold_banner.html", {"findings": [finding]})
    assert "must not leave" in html
    assert "cover split &lt;joint 3&gt;" in html
    assert render_to_string("_partials/hold_banner.html", {"findings": []}).strip() == ""
