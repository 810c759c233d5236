"""A photo of a face: made small, upright, and stripped of whatever else was in its file."""

import random
from io import BytesIO
from unittest.mock import patch

import pytest
from PIL import Image

from equipment import pictures
from equipment.pictures import LARGEST, SMALL, PictureRefused, shrink
from tests.equipment.photographs import photo_file


def opened(content: bytes) -> Image.Image:
    return Image.open(BytesIO(content))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_becomes_a_small_jpeg_with_nothing_else_in_it(kind: str) -> None:
    sent = photo_file(size=(4000, 3000), kind=kind)
    assert opened(sent.getvalue()).getexif().get_ifd(0x8825), "the photo was to have a place"
    made = shrink(sent)
    kept = opened(made.content)
    assert (kept.format, kept.size) == ("JPEG", (LARGEST, 1200))
    assert (made.width, made.height) == kept.size
    assert dict(kept.getexif()) == {}
    assert b"Some Phone" not in made.content
    assert b"Exif" not in made.content
    assert max(opened(made.small).size) == SMALL
    assert len(made.digest) == 64


def test_a_small_one_is_not_blown_up() -> None:
    assert opened(shrink(photo_file(size=(320, 200))).content).size == (320, 200)


def test_one_taken_with_the_phone_turned_stands_upright() -> None:
    """Orientation 6 (CIPA DC-008, 4.6.5): shown turned by 90° to the right."""
    kept = opened(shrink(photo_file(size=(640, 360), turned=6)).content)
    assert kept.size == (360, 640)
    red, _, blue = kept.getpixel((350, 30))  # type: ignore[misc]
    assert blue > 100 > red  # the blue left half has come to the top


def test_what_shines_through_lies_on_white() -> None:
    file = BytesIO()
    Image.new("RGBA", (40, 40), (0, 0, 0, 0)).save(file, "PNG")
    file.seek(0)
    assert opened(shrink(file).content).getpixel((20, 20)) == (255, 255, 255)


@pytest.mark.parametrize("mode", ["1", "L", "P", "CMYK", "I;16", "LA"])
def test_reads_every_kind_of_colour(mode: str) -> None:
    kind = "JPEG" if mode == "CMYK" else "PNG"
    file = BytesIO()
    Image.new(mode, (60, 40)).save(file, kind)
    file.seek(0)
    assert opened(shrink(file).content).mode == "RGB"


def test_the_same_file_gives_the_same_hash() -> None:
    assert shrink(photo_file()).digest == shrink(photo_file()).digest


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"not a picture",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>",
        b"GIF89a\x01\x00\x01\x00\x00\x00\x00;",
        b"%PDF-1.7",
        photo_file().getvalue()[:900],
        b"\x89PNG\r\n\x1a\n" + b"\x00" * 40,
    ],
)
def test_what_is_no_photo_is_refused_in_words(content: bytes) -> None:
    with pytest.raises(PictureRefused, match="Send a JPEG, PNG or WEBP picture"):
        shrink(BytesIO(content))


def test_heic_is_refused_by_its_name() -> None:
    with pytest.raises(PictureRefused, match="Set the phone's camera to JPEG"):
        shrink(BytesIO(b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"))


def test_a_picture_that_would_fill_the_memory_is_refused_unread() -> None:
    file = BytesIO()
    Image.new("1", (12_000, 12_000)).save(file, "PNG")
    file.seek(0)
    with (
        patch.object(Image.Image, "convert", side_effect=AssertionError("was read")),
        pytest.raises(PictureRefused, match="too large"),
    ):
        shrink(file)


def test_more_than_pillow_itself_allows_is_too_large_as_well() -> None:
    file = BytesIO()
    Image.new("1", (20_000, 20_000)).save(file, "PNG")
    file.seek(0)
    with pytest.raises(PictureRefused, match="too large"):
        shrink(file)


def test_twin_without_the_limit_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures, "MOST_PIXELS", 10**9)
    file = BytesIO()
    Image.new("1", (12_000, 12_000)).save(file, "PNG")
    file.seek(0)
    assert shrink(file).width == LARGEST


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_damaged_file_is_read_or_refused_and_nothing_else(kind: str) -> None:
    chance = random.Random(7)
    whole = photo_file(size=(120, 80), kind=kind).getvalue()
    for _ in range(150):
        damaged = bytearray(whole)
        for _ in range(chance.randint(1, 8)):
            damaged[chance.randrange(len(damaged))] = chance.randrange(256)
        try:
            assert opened(shrink(BytesIO(bytes(damaged))).content).format == "JPEG"
        except PictureRefused as refused:
            assert "photo" in str(refused)  # noqa: PT017 (either is right)
