"""Constraints that several tables share."""

from django.db.models import CheckConstraint, Q


def all_or_none(*columns: str, name: str) -> CheckConstraint:
    """Either each of these columns is null, or none is: who did it and when, or not done yet."""
    return CheckConstraint(
        condition=Q(**{f"{column}__isnull": True for column in columns})
        | Q(**{f"{column}__isnull": False for column in columns}),
        name=name,
    )
