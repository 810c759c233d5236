"""What a measured value asks for, as found and as left: one table for the shop and for phones."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.as_left import READ_AGAIN, SEEN_TO, Lack, lacking
from shop.models import StepEntry

#: (out as found, out as left or None, remedy, found work said): what is missing. The rules, written
#: out by hand: what is put right is read again and lies within; what is not is seen to.
TABLE: dict[tuple[bool, bool | None, str, bool], Lack | None] = {
    (False, None, "", False): None,
    (False, False, "", False): None,
    (False, True, "", False): Lack.REMEDY,
    (False, True, "put_right", False): Lack.STILL_OUT,
    (False, True, "found_work", True): None,
    (True, None, "", False): Lack.REMEDY,
    (True, None, "prayed", True): Lack.REMEDY,
    (True, False, "", False): Lack.REMEDY,
    (True, None, "put_right", False): Lack.LEFT,
    (True, None, "replaced", True): Lack.LEFT,
    (True, True, "put_right", False): Lack.STILL_OUT,
    (True, True, "replaced", False): Lack.STILL_OUT,
    (True, False, "put_right", False): None,
    (True, False, "replaced", False): None,
    (True, None, "found_work", False): Lack.FOUND,
    (True, None, "found_work", True): None,
    (True, None, "stop", False): Lack.FOUND,
    (True, None, "stop", True): None,
    (True, True, "stop", True): None,
    (True, False, "found_work", True): None,
}
REMEDIES = ("", "prayed", *StepEntry.Remedy.values[1:])
#: Whatever may be asked: each of it both decide alike.
EVERY = list(product((False, True), (None, False, True), REMEDIES, (False, True)))


@pytest.mark.parametrize(("asked", "lack"), TABLE.items(), ids=lambda each: str(each))
def test_by_hand(asked: tuple[bool, bool | None, str, bool], lack: Lack | None) -> None:
    assert decided(*asked) is lack


def decided(is_out: bool, left_is_out: bool | None, remedy: str, has_text: bool) -> Lack | None:
    return lacking(is_out=is_out, left_is_out=left_is_out, remedy=remedy, has_text=has_text)


def test_each_remedy_is_read_again_or_seen_to() -> None:
    assert set(StepEntry.Remedy.values) - {""} == READ_AGAIN | SEEN_TO
    assert not READ_AGAIN & SEEN_TO


@given(st.sampled_from(EVERY))
def test_nothing_is_taken_that_stays_out_of_limit_with_nobody_seeing_to_it(
    asked: tuple[bool, bool | None, str, bool],
) -> None:
    is_out, left_is_out, remedy, has_text = asked
    if decided(*asked) is None:
        stays_out = is_out if left_is_out is None else left_is_out
        assert not stays_out or (remedy in SEEN_TO and has_text)


@given(st.sampled_from(EVERY))
def test_what_is_within_as_left_is_never_asked_to_be_read_again(
    asked: tuple[bool, bool | None, str, bool],
) -> None:
    is_out, _, remedy, has_text = asked
    assert decided(is_out, False, remedy, has_text) not in (Lack.LEFT, Lack.STILL_OUT)
