"""Ask the table of who may do what from a template, before a link or a button is shown.

Load it with `{% load access %}`; then `{% if request|may:"shop:people" %}` for a page and
`{% if request|may_send:"equipment:bookings" %}` for its form.
"""

from django import template
from django.http import HttpRequest

from shop import access

register = template.Library()


@register.filter
def may(request: HttpRequest, view_name: str) -> bool:
    """Say whether the person of this request may look at an address."""
    return access.may(getattr(request, "user", None), view_name)


@register.filter
def may_send(request: HttpRequest, view_name: str) -> bool:
    """Say whether the person of this request may send the form of an address."""
    return access.may(getattr(request, "user", None), view_name, "POST")
