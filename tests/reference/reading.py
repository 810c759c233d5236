"""Reads the values of a worked example, or says in plain words what is wrong with it."""

from datetime import date
from decimal import Decimal
from typing import Any

Answer = dict[str, Any]


class MalformedCase(ValueError):
    """The case is not written in the form it names."""


class NotServed(Exception):
    """The product has no function for this, and why."""


def need(mapping: Any, key: str) -> Any:
    """Return a value of a case, or say which is missing."""
    if not isinstance(mapping, dict):
        raise MalformedCase(f"expected an object with “{key}”, found {mapping!r}")
    if key not in mapping:
        raise MalformedCase(f"“{key}” is missing")
    return mapping[key]


def need_list(mapping: Any, key: str) -> list[Any]:
    """Return a list of a case."""
    found = need(mapping, key)
    if not isinstance(found, list):
        raise MalformedCase(f"“{key}” is not a list")
    return found


def number(mapping: Any, key: str) -> Decimal:
    """Return a number of a case as a decimal, as it was written."""
    found = need(mapping, key)
    if isinstance(found, bool) or not isinstance(found, int | Decimal):
        raise MalformedCase(f"“{key}” is not a number: {found!r}")
    return Decimal(found)


def day(text: Any) -> date:
    """Return a date of a case."""
    try:
        return date.fromisoformat(text)
    except (TypeError, ValueError) as error:
        raise MalformedCase(f"not a date: {text!r}") from error


def whole(mapping: Any, key: str) -> int:
    """Return a whole number of a case."""
    found = number(mapping, key)
    if found != found.to_integral_value():
        raise MalformedCase(f"“{key}” is not a whole number: {found}")
    return int(found)


def floats(inputs: Any, key: str) -> list[float]:
    """Return a list of numbers of a case."""
    return [float(number({key: each}, key)) for each in need_list(inputs, key)]
