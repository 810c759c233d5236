"""What the printed sheet says, read back."""

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace

import pytest
from babel.messages.catalog import Message
from django.utils.translation import override

from shop.paper.readings import WRITE_HERE
from shop.paper.sheet import (
    CheckGroup,
    LockoutStep,
    PaperCheck,
    SheetPaper,
    ZeroGauge,
    sheet_pdf,
)
from tests import wording
from tests.shop.paper.reading import pages_text, read, text
from tests.shop.paper.samples import (
    CAUTIONS,
    GROUPS,
    PARTS,
    READINGS,
    ZERO,
    sheet,
    signed_sheet,
)

DRAWN = {"icon", "side", "kind", "language"}  # texts that choose a drawing or a setting


def words(value: object) -> list[str]:
    """Every text the sheet was given that must be readable on paper."""
    if isinstance(value, str):
        return [value] if value else []
    if isinstance(value, tuple):
        return [word for item in value for word in words(item)]
    if is_dataclass(value):
        return [
            word
            for field in fields(value)
            if field.name not in DRAWN
            for word in words(getattr(value, field.name))
        ]
    return []


def said(found: str, wanted: str) -> bool:
    """Whether the words stand in the text in this order; columns may put others between them."""
    at = 0
    for word in wanted.split():
        at = found.find(word, at)
        if at < 0:
            return False
        at += len(word)
    return True


def test_every_value_given_is_on_paper() -> None:
    given = sheet(held_text="Held: must not leave, leak at the ball valve.")
    found = text(read(given))
    missing = [w for w in words(replace(given, url="")) if not said(found, w)]
    assert missing == []
    assert "Service sheet 0412" in found


def test_open_sheet_offers_what_is_to_be_filled_in() -> None:
    found = text(read(sheet()))
    ticks = sum(c.kind == "tick" and not c.electrician for g in GROUPS for c in g.checks)
    assert found.count("n/a") == ticks + WRITE_HERE.count("n/a")
    assert found.count("was reset") == len(READINGS)
    assert found.count("must read zero") == len(ZERO)
    for phrase in (
        "licensed electrician",
        "needs parts",
        "rig must not leave",
        "Started",
        "Finished",
        "Date",
    ):
        assert phrase in found


def test_signed_sheet_prints_what_was_found_and_nothing_to_fill_in() -> None:
    given = signed_sheet()
    found = text(read(given))
    assert [w for w in words(replace(given, url="")) if not said(found, w)] == []
    assert "n/a" not in found
    assert "was reset" not in found
    assert "needs parts" not in found


@pytest.mark.parametrize("changes", [{"signed": "Signed J. Doe"}, {"void": True}])
def test_closed_sheet_says_what_stayed_empty(changes: dict[str, object]) -> None:
    given = sheet(**changes, cells=(), groups=GROUPS[:1], readings=(), parts=PARTS[:1])
    found = text(read(replace(given, groups=(replace(GROUPS[0], checks=GROUPS[0].checks[:1]),))))
    assert "Oil and filter changed, no leaks after start –" in found
    assert "None." in found


def test_void_sheet_says_so_on_every_page() -> None:
    for page in pages_text(read(sheet(void=True, step_word="handed out"))):
        assert "void" in page
        assert "handed out" not in page
    assert "Do not work from this sheet" in text(read(sheet(void=True)))


@pytest.mark.parametrize(("page_size", "points"), [("letter", (612, 792)), ("a4", (595, 842))])
def test_ordinary_sheet_takes_two_pages(page_size: str, points: tuple[int, int]) -> None:
    reader = read(sheet(), page_size=page_size)  # type: ignore[arg-type]
    assert len(reader.pages) == 2
    for number, page in enumerate(reader.pages, start=1):
        assert (round(page.mediabox.width), round(page.mediabox.height)) == points
        found = pages_text(reader)[number - 1]
        assert f"Sheet 0412, page {number} of 2" in found
        assert "The maker’s instructions and local codes go first." in found
        assert "Printed 25 Nov 2026 14:10" in found
        assert "Kestrel" in found


def test_unknown_page_size_is_refused() -> None:
    with pytest.raises(KeyError):
        sheet_pdf(sheet(), page_size="a5")  # type: ignore[arg-type]


def test_the_paper_says_its_own_words_in_the_language_of_its_sheet() -> None:
    """Whatever is spoken where it is printed."""
    for given in (sheet(held_text="Retenido."), signed_sheet(), sheet(void=True), sheet(parts=())):
        with override("en"):
            spanish = read(replace(given, language="es"))
        with override("es"):
            english = text(read(given))
        found = text(spanish)
        assert "Hoja de servicio 0412" in found
        assert "Service sheet 0412" in english
        said = [message for message in _own_words() if message.string not in (message.id, None)]
        assert len(said) > 60
        # What the sample itself says in English is not the paper's: "Sheet", "Part", "back" …
        theirs = {word for word in words(given) for word in re.findall(r"\w+", word)}
        left = [
            message.id
            for message in said
            for piece in re.split(r"\{\w+\}", str(message.id))
            if not set(re.findall(r"\w+", piece)) <= theirs
            and re.search(rf"(?<!\w){re.escape(piece.strip())}(?!\w)", found)
        ]
        assert left == []
        assert spanish.trailer["/Root"]["/Lang"] == "es"


def _own_words() -> Iterator[Message]:
    catalogue = wording.read(wording.path_of("shop/paper", "es"))
    return (message for message in catalogue if message.id)


def test_the_english_of_an_unread_translation_stands_under_it() -> None:
    given = sheet(
        language="es",
        cautions=(replace(CAUTIONS[0], original="Stored pressure. Park the pumps."), CAUTIONS[1]),
        lockout=(LockoutStep("Corriente", "fuera", original="Shore power. Plug out."),),
        zero_gauges=(ZeroGauge("Manómetro", "A", original="Gauge A"),),
    )
    found = text(read(given))
    assert found.count("Nadie del oficio ha leído todavía estas traducciones") == 2
    assert "En inglés: Stored pressure. Park the pumps." in found
    assert "En inglés: Shore power. Plug out." in found
    assert "En inglés: Gauge A" in found


def test_almost_nothing_known_still_prints() -> None:
    bare = SheetPaper(
        number=7,
        rig_number=None,
        title="",
        shop_name="",
        step=1,
        step_word="drafted",
        url="",
        printed_text="",
    )
    found = text(read(bare))
    assert "Service sheet 0007" in found
    assert "page 1 of 1" in found
    assert "Cautions" not in found
    assert "Checks" not in found


def test_a_service_without_checks_says_so() -> None:
    found = text(read(sheet(groups=(CheckGroup("1 Generator", "oil", "due", ()),))))
    assert "1 Generator oil, due" in found
    assert "No checks in this service." in found


def test_parts_used_beyond_the_plan_can_be_written_in() -> None:
    assert "Also used:" in text(read(sheet()))
    assert "No parts are planned. Also used:" in text(read(sheet(parts=())))
    assert "Also used:" not in text(read(signed_sheet()))
    assert "Parts and bins" not in text(read(replace(signed_sheet(), parts=())))


def test_each_source_is_named_once_under_the_cautions_by_its_number() -> None:
    given = sheet()
    found = text(read(given))
    assert "before each step. [1]" in found
    assert "with a hand or glove. [1]" in found
    assert "stop and report it. [2]" in found
    key = "Sources: [1] 29 CFR 1910.147(d)(5) [2] 29 CFR 1910.1000, Z-1 [3] ASTM C1055"
    assert key in found
    assert found.count("29 CFR 1910.147(d)(5)") == 1
    without = tuple(replace(caution, source="") for caution in CAUTIONS)
    bare = text(read(replace(given, cautions=without)))
    assert "Sources:" not in bare
    assert "[1]" not in bare


def test_a_value_out_of_limit_carries_a_tag_and_no_other_does() -> None:
    checks = (
        PaperCheck(1, "Volts", "value", "V", found_text="282 V: looked at", is_out=True),
        PaperCheck(2, "Hertz", "value", "Hz", found_text="60 Hz", by_text="J. Doe, 25 Nov"),
    )
    given = sheet(groups=(CheckGroup("1 Generator", "oil", "", checks),), signed="J. Doe")
    found = text(read(given))
    assert found.count("out of limit") == 1
    assert "Volts" in found[: found.index("out of limit")]
    assert "Hertz" not in found[: found.index("out of limit")]
    quiet = replace(checks[0], is_out=False)
    plain = replace(given, groups=(replace(given.groups[0], checks=(quiet, checks[1])),))
    assert "out of limit" not in text(read(plain))
    # The tag is a drawing beside the word: more paths with it than without.
    drawn = [read(each).pages[0].get_contents().get_data() for each in (given, plain)]
    assert drawn[0].count(b" l ") > drawn[1].count(b" l ") + 5


def test_who_entered_a_check_stands_beside_it_while_the_sheet_is_under_way() -> None:
    by = "Ilse Marten, 26 Nov 2026 11:51"
    checks = (
        PaperCheck(1, "Intake filter", found_text="cleaned", by_text=by),
        PaperCheck(2, "Fan"),
    )
    page = read(sheet(groups=(CheckGroup("1 Compressor", "", "", checks),))).pages[0]
    heights: dict[str, float] = {}

    def seen(text: str, _: object, matrix: list[float], *__: object) -> None:
        heights.setdefault(text.strip(), matrix[5])

    page.extract_text(visitor_text=seen)
    assert heights["cleaned"] == pytest.approx(heights[by], abs=1)
