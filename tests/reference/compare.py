"""Compares an answer of the product with the figure of a worked example."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from tests.reference.reading import MalformedCase

_KINDS = {"exact", "rel", "abs", "per_key"}


def differences(got: Any, expected: Any, tolerance: Any, key: str) -> Iterator[str]:
    """Yield a line for each figure that lies outside its tolerance.

    tolerance: {"exact": true}, {"rel": x}, {"abs": x} (either suffices where both stand), and
    "per_key" with its own for single keys. Texts, dates and truth values are always exact.
    """
    if isinstance(expected, list):
        if not isinstance(got, list) or len(got) != len(expected):
            yield f"{key} got {show(got)} expected {show(expected)}"
            return
        for place, (mine, theirs) in enumerate(zip(got, expected, strict=True)):
            yield from differences(mine, theirs, tolerance, f"{key}[{place}]")
        return
    mine, theirs = _number(got), _number(expected)
    if mine is None or theirs is None:
        if type(got) is not type(expected) or got != expected:
            yield f"{key} got {show(got)} expected {show(expected)}"
        return
    by = abs(mine - theirs)
    if by > _allowed(theirs, tolerance):
        yield f"{key} got {show(got)} expected {show(expected)} by {by:.6g}"


def tolerance_for(key: str, tolerance: Any) -> Any:
    """Return the tolerance of one key, checked."""
    if not isinstance(tolerance, dict):
        raise MalformedCase("“tolerance” is not an object")
    per_key = tolerance.get("per_key", {})
    if not isinstance(per_key, dict):
        raise MalformedCase("“per_key” is not an object")
    found = per_key.get(key, {name: x for name, x in tolerance.items() if name != "per_key"})
    if not isinstance(found, dict) or not found or not set(found) < _KINDS:
        raise MalformedCase(f"the tolerance of “{key}” is none of exact, rel, abs: {found!r}")
    for name in ("rel", "abs"):
        if name in found and (_number(found[name]) is None or found[name] < 0):
            raise MalformedCase(f"the tolerance of “{key}” is not a number above zero")
    return found


def show(value: Any) -> str:
    """Return a figure as a person reads it."""
    if isinstance(value, list):
        return f"[{', '.join(show(each) for each in value)}]"
    return str(value)


def _allowed(expected: Decimal, tolerance: Any) -> Decimal:
    if tolerance.get("exact"):
        return Decimal(0)
    relative = Decimal(tolerance.get("rel", 0)) * abs(expected)
    return max(relative, Decimal(tolerance.get("abs", 0)))


def _number(value: Any) -> Decimal | None:
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        return None
    number = Decimal(value)
    return number if number.is_finite() else None
