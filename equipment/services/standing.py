"""A person's word on when a service of a component is wanted: sooner, or put off.

One word of a kind stands for a service of a component at a time, until the service is done or
somebody takes the word off.
"""

from datetime import datetime
from typing import TypeVar
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.db.models import QuerySet

from equipment.models import BroughtForward, Component, Postponement, Renewal
from equipment.models.dues import not_done_since
from equipment.services import dues, locks

Word = TypeVar("Word", BroughtForward, Postponement)


def say(word: Word, *, zone: ZoneInfo) -> Word:
    """Let a new word count; the one that stood is taken off, and the due row follows.

    The caller holds the locks of `locks.lock_all_behind`. Raises ValidationError.
    """
    word.full_clean()
    type(word).objects.standing().filter(component=word.component, service=word.service).update(
        taken_off_by=word.author_id, taken_off_at=word.at
    )
    word.save()
    dues.recompute([word.component], zone=zone)
    return word


def take_off(
    word: Word,
    *,
    author: AbstractBaseUser,
    at: datetime,
    zone: ZoneInfo,
    gone: type[Exception],
) -> Word:
    """Take a word off; the due row follows. Raises `gone` where it was taken off already."""
    with transaction.atomic():
        component = locks.lock_all_behind([word.component_id])[word.component_id]
        row = type(word).objects.select_for_update(of=("self",)).get(pk=word.pk)
        if row.taken_off_at is not None:
            raise gone
        row.taken_off_by_id, row.taken_off_at = author.pk, at
        row.save(update_fields=["taken_off_by", "taken_off_at"])
        dues.recompute([component], zone=zone)
        return row


def still_meant(words: QuerySet[Word], component: Component) -> list[Word]:
    """Those words on a component, in their order, whose service was not done since."""
    renewals = Renewal.objects.in_force().filter(component=component).order_by("done_at")
    done = {
        (component.pk, service): done_at
        for service, done_at in renewals.values_list("version__service", "done_at")
    }
    return not_done_since(
        words.filter(component=component).select_related("service", "author"), done
    )
