"""The demo loaded anew, and what it refuses. A short past will do: it is told by the same code."""

import hashlib
import socket
from datetime import UTC, datetime
from functools import partial
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction

from equipment.models import Due, Reading, Renewal
from inventory import guards
from inventory.models import Movement
from shop.demo import present
from shop.demo.loading import load
from shop.management.commands import demo
from shop.models import Person, ServiceSheet, Shop, StepEntry
from tests.depth import IN_CI

NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)


def digest() -> str:
    """What a person would see, without primary keys."""
    seen = [
        ServiceSheet.objects.order_by("number").values_list(
            "number", "state", "rig__number", "planned_on", "signed_at", "labour_minutes"
        ),
        Reading.objects.order_by("at", "counter__rig__number", "counter__name", "pk").values_list(
            "at", "counter__name", "value", "total", "step"
        ),
        Movement.objects.order_by("pk").values_list(
            "part__number", "kind", "quantity_steps", "value_cents", "at", "request_id"
        ),
        Due.objects.order_by("component__tag", "version__service__name").values_list(
            "component__tag", "version__service__name", "since", "due_date", "is_past_due"
        ),
        StepEntry.objects.order_by("pk").values_list("answer", "value", "choice", "at"),
    ]
    text = "\n".join(str(row) for rows in seen for row in rows)
    return hashlib.sha256(text.encode()).hexdigest()


@pytest.mark.django_db
def test_a_real_shop_is_refused_and_left_alone(shop: Shop) -> None:
    for fresh in (False, True):
        with pytest.raises(CommandError, match="holds a real shop, Foam Works"):
            call_command("demo", load_only=True, fresh=fresh)
    assert Shop.objects.get() == shop
    assert not Person.objects.exists()


def test_a_port_in_use_is_said_before_anything_is_loaded() -> None:
    with socket.socket() as other:
        other.bind((demo.HOST, 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(CommandError, match=f"Port {port} is in use.*--port {port + 1}"):
            call_command("demo", port=port)


@pytest.fixture
def short_past(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo, "load", partial(load, days=60 if IN_CI else 20))
    monkeypatch.setattr(demo.timezone, "now", lambda: NOW)


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("short_past")
def test_given_up_half_way_nothing_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    def give_up(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(present, "tell", give_up)
    with pytest.raises(KeyboardInterrupt):
        call_command("demo", load_only=True, stdout=StringIO())
    assert not Shop.objects.exists()
    assert not Reading.objects.exists()


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("short_past")
@pytest.mark.timeout(600)
@pytest.mark.long
def test_fresh_loads_the_same_shop_to_the_last_row_with_its_guards_standing() -> None:
    call_command("demo", load_only=True, stdout=StringIO())
    first = digest()
    assert ServiceSheet.objects.exists()
    said = StringIO()
    call_command("demo", load_only=True, fresh=True, stdout=said)
    assert "Throwing the old demo shop away." in said.getvalue()
    assert digest() == first
    assert guards.missing(connection) == []
    with pytest.raises(Exception, match="only added to"), transaction.atomic():
        Renewal.objects.filter(pk=Renewal.objects.earliest("pk").pk).update(reason="no")
