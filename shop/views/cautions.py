"""The safety texts in Spanish beside the English, and who of the trade has read them."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from shop.forms.cautions import ReadTextsForm
from shop.http import PageRequest
from shop.services import safety_texts


@require_http_methods(["GET", "HEAD", "POST"])
def cautions(request: PageRequest) -> HttpResponse:
    """Every safety text in two languages; record who read some, or take one back."""
    now = timezone.now()
    if request.method == "POST" and "take_back" in request.POST:
        return _take_back(request)
    listed = safety_texts.all_texts()
    form = ReadTextsForm(
        request.POST if request.method == "POST" else None, now=now, listed=listed.all
    )
    if form.is_bound and form.is_valid():
        data = form.cleaned_data
        try:
            count = safety_texts.record_readings(
                keys=data["texts"],
                reader=data["reader"],
                trade=data["trade"],
                read_on=data["read_on"],
                author=request.user,
                at=now,
            )
        except safety_texts.TextsRefused as refused:
            form.add_error("texts", str(refused))
        else:
            said = f"{count} texts are recorded as read." if count != 1 else "One text is read."
            messages.success(request, said)
            return redirect("shop:cautions")
    return render(
        request,
        "shop/cautions.html",
        {"listed": listed, "form": form},
        status=422 if form.is_bound else 200,
    )


def _take_back(request: PageRequest) -> HttpResponse:
    try:
        count = safety_texts.take_back(
            key=request.POST["take_back"], author=request.user, at=timezone.now()
        )
    except safety_texts.TextsRefused as refused:
        messages.error(request, str(refused))
    else:
        if count:
            messages.success(request, "It counts as not read: sheets show its English again.")
    return redirect("shop:cautions")
