"""The section "What we know" of the pages of types and services."""

from typing import Any

from django.urls import reverse

from equipment.models import ComponentType, Service
from equipment.services.knowing import TAKEN_OFF, former, known_about


def known_section(about: ComponentType | Service) -> dict[str, Any]:
    """What the section "What we know" takes (templates/equipment/_partials/what_we_know.html)."""
    is_type = isinstance(about, ComponentType)
    of_types, of_services = known_about(
        [about.pk] if is_type else [], [] if is_type else [about.pk]
    )
    known = (of_types or of_services).get(about.pk)
    before = former(about)
    for row in known.rows if known else []:
        row.older = before.get(row.pk, [])  # type: ignore[attr-defined]
    return {
        "about": about,
        "is_type": is_type,
        "known": known,
        "taken_off": before.get(TAKEN_OFF, []),
    }


def home(about: ComponentType | Service) -> str:
    """The page on which something known is shown."""
    name = "equipment:type" if isinstance(about, ComponentType) else "equipment:service"
    return f"{reverse(name, args=[about.pk])}#known"
