"""The shop's founding, and the people who work in it."""

from datetime import datetime

from django.db import IntegrityError, transaction

from equipment.services.library import load_library
from shop.models import Person, Role, Shop


class PeopleRefused(ValueError):
    """Something about people that cannot be done; its text is meant for the person."""


class ShopIsOpen(PeopleRefused):
    """Somebody founded the shop already."""

    def __init__(self) -> None:
        super().__init__("This shop has been set up already. Sign in instead.")


class NameTaken(PeopleRefused):
    """Two people cannot sign in with one name."""

    def __init__(self) -> None:
        super().__init__("Somebody has this sign-in name already.")


class LastManager(PeopleRefused):
    """Without a manager nobody could let anybody in again."""

    def __init__(self, name: str) -> None:
        super().__init__(
            f"{name} is the only manager who may sign in. Make somebody else a manager first."
        )


def open_shop(
    *,
    name: str,
    time_zone: str,
    currency: str,
    units: str,
    manager_name: str,
    sign_in: str,
    password: str,
    at: datetime,
) -> tuple[Shop, Person]:
    """Found the shop with its first manager and the starting library of services.

    The password is taken as it is: whether it is a good one is for the form to say.
    Raises ShopIsOpen when there is a shop, also when it was founded at this very moment.
    """
    with transaction.atomic():
        try:
            with transaction.atomic():
                # The primary key is always 1: of two people at once, the second meets it.
                shop = Shop(
                    name=name, time_zone=time_zone, currency=currency, units=units, created_at=at
                )
                shop.save(force_insert=True)
                manager = _insert(
                    sign_in=sign_in,
                    name=manager_name,
                    role=Role.MANAGER,
                    is_electrician=False,
                    password=password,
                    at=at,
                )
        except IntegrityError as clash:
            raise ShopIsOpen from clash
        load_library(author=manager, at=at, zone=shop.zone)
    return shop, manager


def change_shop(
    *,
    name: str,
    time_zone: str,
    currency: str,
    units: str,
    warning_days: int,
    unread_days: int,
    off_ratio_percent: int,
    off_ratio_strokes: int,
    drum_error_gallons: int,
) -> Shop:
    """Change what the shop is called and how it counts. Instants stay; only their clock moves."""
    with transaction.atomic():
        shop = Shop.objects.select_for_update().get()
        shop.name = name
        shop.time_zone = time_zone
        shop.currency = currency
        shop.units = units
        shop.warning_days = warning_days
        shop.unread_days = unread_days
        shop.off_ratio_percent = off_ratio_percent
        shop.off_ratio_strokes = off_ratio_strokes
        shop.drum_error_gallons = drum_error_gallons
        shop.save()
    return shop


def create_person(
    *,
    sign_in: str,
    name: str,
    role: str,
    password: str,
    at: datetime,
    is_electrician: bool = False,
) -> Person:
    """Add somebody who may sign in. Raises NameTaken."""
    try:
        with transaction.atomic():
            return _insert(
                sign_in=sign_in,
                name=name,
                role=role,
                is_electrician=is_electrician,
                password=password,
                at=at,
            )
    except IntegrityError as clash:
        raise NameTaken from clash


def change_person(
    *, person: Person, sign_in: str, name: str, role: str, is_electrician: bool
) -> Person:
    """Change what somebody is called and may do. Raises NameTaken, LastManager."""
    try:
        with transaction.atomic():
            person = _locked(person)
            if role != Role.MANAGER:
                _refuse_for_last_manager(person)
            person.sign_in = sign_in.casefold()
            person.name = name
            person.role = role
            person.is_electrician = is_electrician
            person.save()
    except IntegrityError as clash:
        raise NameTaken from clash
    return person


def change_own(*, person: Person, language: str, own_units: str) -> Person:
    """Change how somebody is spoken to. own_units: empty for those of the shop."""
    with transaction.atomic():
        person = _locked(person)
        person.language = language
        person.own_units = own_units
        person.save(update_fields=["language", "own_units"])
    return person


def switch_off(*, person: Person) -> Person:
    """Let somebody sign in no more. What they entered keeps their name. Raises LastManager."""
    with transaction.atomic():
        person = _locked(person)
        _refuse_for_last_manager(person)
        person.is_active = False
        person.save(update_fields=["is_active"])
    return person


def switch_on(*, person: Person) -> Person:
    """Let somebody sign in again."""
    with transaction.atomic():
        person = _locked(person)
        person.is_active = True
        person.save(update_fields=["is_active"])
    return person


def set_password(*, person: Person, password: str) -> Person:
    """Give somebody a new password. Their other sessions end, since they hang on the old one."""
    with transaction.atomic():
        person = _locked(person)
        person.set_password(password)
        person.save(update_fields=["password"])
    return person


def _insert(
    *, sign_in: str, name: str, role: str, is_electrician: bool, password: str, at: datetime
) -> Person:
    person = Person(
        sign_in=sign_in.casefold(),
        name=name,
        role=role,
        is_electrician=is_electrician,
        created_at=at,
    )
    person.set_password(password)
    person.save(force_insert=True)
    return person


def _locked(person: Person) -> Person:
    """Lock all managers along with the person, so that two cannot send each other home."""
    managers = Person.objects.filter(role=Role.MANAGER) | Person.objects.filter(pk=person.pk)
    locked = {row.pk: row for row in managers.select_for_update().order_by("pk")}
    return locked[person.pk]


def _refuse_for_last_manager(person: Person) -> None:
    if not (person.is_manager and person.is_active):
        return
    others = Person.objects.filter(role=Role.MANAGER, is_active=True).exclude(pk=person.pk)
    if not others.exists():
        raise LastManager(person.name)
