"""Why a part is bought when it is: the reasons, reckoned again, and by hand or by the advice."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from inventory.models import Part, StockAdvice, StockPolicy
from inventory.sentences import Unit
from shop import advice_words as say
from shop import words
from shop.advice import found_of, given_of
from shop.http import PageRequest
from shop.services.advising import advise, follow_again


@require_safe
def advice(request: PageRequest, number: str) -> HttpResponse:
    """The sentence, then every figure that it follows from."""
    part = get_object_or_404(Part, number=number)
    row = StockAdvice.objects.filter(part=part, location__isnull=True).first()
    policy = (
        StockPolicy.objects.filter(part=part, location__isnull=True)
        .select_related("set_by")
        .first()
    )
    context: dict[str, Any] = {"part": part, "row": row, "policy": policy}
    if policy is not None:
        unit = Unit(part.unit_name, part.steps_per_unit)
        context["point"] = unit.words(policy.reorder_point_steps)
        context["up_to"] = unit.words(policy.order_up_to_steps)
        context["is_review_past"] = (
            policy.by_hand and policy.review_on is not None and policy.review_on < request.today
        )
    if row is not None:
        given, found = given_of(row.figures), found_of(row.figures)
        symbol = request.shop.currency
        unit = say.unit_of(given)
        context |= {
            "cells": [
                ("Buy at", unit.words(found.point_steps) if found.order_up_to_steps else "–"),
                ("Up to", unit.words(found.order_up_to_steps) if found.order_up_to_steps else "–"),
                ("Class", row.value_class),
                ("Reckoned", words.day(row.reckoned_on, today=request.today)),
            ],
            "sentence": say.sentence(given, found),
            "span_days": given.span_days,
            "needs": say.need_rows(given),
            "choices": list(say.choices(given, found, symbol=symbol)),
            "arithmetic": say.arithmetic(given, found, symbol=symbol),
            "bounds": say.bound_words(found),
            "late": say.late_words(given),
            "took": given.lead_from,
            "beside": say.beside(given, found),
        }
    return render(request, "shop/advice.html", context)


@require_POST
def reckon_again(request: PageRequest, number: str) -> HttpResponse:
    """Reckon the advice of every part anew: one part's class depends on the others."""
    part = get_object_or_404(Part, number=number)
    advised = advise(shop=request.shop, today=request.today, author=request.user, at=timezone.now())
    changed = advised.policies
    follow = f"{changed} reorder point{'s' if changed != 1 else ''} changed with it"
    messages.success(request, f"The advice for {advised.parts} parts is reckoned again; {follow}.")
    return redirect("shop:advice", part.number)


@require_POST
def follow_advice(request: PageRequest, number: str) -> HttpResponse:
    """Give up a number fixed by hand: the part is bought by the advice again."""
    part = get_object_or_404(Part, number=number)
    follow_again(part=part, author=request.user, at=timezone.now())
    messages.success(request, f"{part.number} is bought by the advice again.")
    return redirect("shop:advice", part.number)
