"""Photos beside the found work that they show: `{% load photos %}`."""

from collections.abc import Iterable
from uuid import UUID

from django import template

from equipment.models import Finding, FindingPhoto
from equipment.services.photos import photos_of_found

register = template.Library()


@register.simple_tag
def found_photos(findings: Iterable[object]) -> dict[UUID, list[FindingPhoto]]:
    """The photos of all found work of a list, in one query: `{% found_photos rows as photos %}`."""
    return photos_of_found(each for each in findings if isinstance(each, Finding))


@register.filter
def photos_of(photos: dict[UUID, list[FindingPhoto]], finding: object) -> list[FindingPhoto]:
    """Those of one of them: `{% with shown=photos|photos_of:finding %}`."""
    return photos.get(finding.request_id, []) if isinstance(finding, Finding) else []
