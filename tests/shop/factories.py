"""Valid rows of the shop with honest defaults."""

from datetime import UTC, date, datetime

import factory

from shop.models import Person, Role, Shop

FOUNDED_AT = datetime(2026, 1, 5, 14, 0, tzinfo=UTC)


class ShopFactory(factory.django.DjangoModelFactory):
    """The one shop; made once however often it is asked for."""

    class Meta:
        model = Shop
        django_get_or_create = ("id",)

    id = 1
    name = "Foam Works"
    time_zone = "America/Chicago"
    created_at = FOUNDED_AT
    # No page turns the day, unless a test is about that.
    turned_on = date.max


class PersonFactory(factory.django.DjangoModelFactory):
    """A technician who cannot sign in, unless a password is given."""

    class Meta:
        model = Person
        skip_postgeneration_save = True

    sign_in = factory.Sequence(lambda n: f"person{n}")
    name = factory.Sequence(lambda n: f"P. Number {n}")
    role = Role.TECHNICIAN
    created_at = FOUNDED_AT
    password = factory.django.Password(None)

    class Params:
        manager = factory.Trait(role=Role.MANAGER)
        owner = factory.Trait(role=Role.OWNER)
        electrician = factory.Trait(is_electrician=True)
        off = factory.Trait(is_active=False)
