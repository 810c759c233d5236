"""The printed sheet, read back."""

import re
from dataclasses import fields, is_dataclass, replace
from io import BytesIO

import pytest
import segno
from pypdf import PageObject, PdfReader

from shop.paper.closing import WAITS, WRITE_HERE
from shop.paper.sheet import (
    CheckGroup,
    LockoutStep,
    PaperCheck,
    PaperFound,
    PaperPart,
    PaperReading,
    SheetPaper,
    StripCell,
    ZeroGauge,
    sheet_pdf,
    sheets_pdf,
)
from tests.shop.paper.reading import pages_text, qr_modules, read, sizes, text, text_spans
from tests.shop.paper.samples import CAUTIONS, GROUPS, LOCKOUT, PARTS, READINGS, STRIP, ZERO, sheet

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


def signed_sheet() -> SheetPaper:
    def filled(group: CheckGroup) -> CheckGroup:
        checks = tuple(
            replace(check, found_text=f"found{check.number}", choices=()) for check in group.checks
        )
        return replace(group, checks=checks)

    return sheet(
        step=4,
        step_word="signed",
        started="24 Nov 08:10",
        finished="25 Nov 13:50",
        signed="Signed J. Doe 25 Nov 2026 14:10",
        groups=tuple(filled(group) for group in GROUPS),
        parts=tuple(replace(part, used_text=f"used{n}") for n, part in enumerate(PARTS)),
        readings=tuple(replace(r, now_text=f"now{n}") for n, r in enumerate(READINGS)),
        cautions=tuple(replace(c, read_text=f"read{n}") for n, c in enumerate(CAUTIONS)),
        lockout=tuple(replace(s, done_text=f"locked{n}") for n, s in enumerate(LOCKOUT)),
        zero_gauges=tuple(replace(g, found_text=f"zero{n}") for n, g in enumerate(ZERO)),
        found_work=(PaperFound("Scuff cover at joint 3 split again.", by_text="J. Doe, 25 Nov"),),
    )


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


@pytest.mark.parametrize("page_size", ["letter", "a4"])
def test_no_text_is_below_8_points(page_size: str) -> None:
    # look.md, Print: text 9.75 pt, nothing under 8 pt
    for given in (sheet(void=True, held_text="Held."), signed_sheet()):
        found = sizes(read(given, page_size=page_size))  # type: ignore[arg-type]
        assert min(found) >= 8
        assert 9.75 in found


@pytest.mark.parametrize("repeats", [1, 12])
def test_text_stays_inside_the_margins(repeats: int) -> None:
    # look.md, Print: margins 12 mm
    margin = 12 * 72 / 25.4
    name = "Überprüfungsprotokollierungsbeauftragte " + "W" * 60
    long = " ".join([name] * repeats)
    given = sheet(
        title=name,
        cells=(("Leaves", name), ("Planned", "W" * 80)),
        strip=tuple(replace(cell, label=name, state_word=name) for cell in STRIP),
        cautions=(replace(CAUTIONS[0], hazard=long, text=long, source=long, read_text=long),),
        lockout=(LockoutStep(long, long, long), LockoutStep(name, name)),
        zero_gauges=(ZeroGauge(name, "A"), ZeroGauge(name, "B", name)),
        groups=(
            CheckGroup(
                long,
                long,
                long,
                (
                    PaperCheck(1, long, "value", long, long, long, hint=long),
                    PaperCheck(2, long, "value", long, electrician=True),
                    PaperCheck(3, long, "choice", choices=(long, "short", name)),
                    PaperCheck(4, long, found_text=long),
                ),
            ),
        ),
        parts=(PaperPart(long, long, long, long, long, long, long, long),),
        readings=(PaperReading(long, long), PaperReading(long, long, long)),
        counters_note=long,
        found_work=(PaperFound(long, True, long),),
        held_text=long,
    )
    for page in read(given).pages:
        for x, y, end in text_spans(page):
            assert margin - 0.5 <= x
            assert end <= 612 - margin + 0.5
            assert margin <= y <= 792 - margin


def test_sixty_checks_flow_over_pages_without_losing_one() -> None:
    groups = tuple(
        CheckGroup(
            f"{g + 1} Pump P-{g}",
            "packing",
            "due",
            tuple(PaperCheck(g * 6 + n + 1, f"check-{g * 6 + n + 1}.") for n in range(6)),
        )
        for g in range(10)
    )
    reader = read(sheet(groups=groups))
    found = pages_text(reader)
    assert len(found) >= 3
    for number in range(1, 61):
        assert sum(f"check-{number}." in page for page in found) == 1
    assert "Checks, continued" in found[1]
    for count, page in enumerate(found, start=1):
        assert f"Sheet 0412, page {count} of {len(found)}" in page


@pytest.mark.parametrize("filler", range(0, 24))
def test_a_group_head_is_never_parted_from_its_first_check(filler: int) -> None:
    first = CheckGroup(
        "1 Pump", "packing", "", tuple(PaperCheck(n, f"fill-{n}.") for n in range(filler))
    )
    second = CheckGroup("2 Gun GU-7", "rebuild", "due", (PaperCheck(99, "first-of-gun."),))
    found = pages_text(read(sheet(groups=(first, second))))
    assert [page for page in found if "2 Gun GU-7" in page] == [
        page for page in found if "first-of-gun." in page
    ]


@pytest.mark.parametrize("filler", range(0, 30))
def test_the_signature_is_never_alone_on_a_page(filler: int) -> None:
    checks = tuple(PaperCheck(n, f"fill-{n}.") for n in range(filler))
    found = pages_text(read(sheet(groups=(CheckGroup("1 Pump", "", "", checks),))))
    assert "Started" in found[-1]
    assert "needs parts" in found[-1]


def test_a_check_longer_than_a_page_goes_on_over_the_next() -> None:
    story = " ".join(f"word{n}" for n in range(1500))
    reader = read(sheet(groups=(CheckGroup("1 Pump", "packing", "", (PaperCheck(1, story),)),)))
    found = text(reader)
    assert all(f"word{n}" in found for n in range(1500))
    assert len(reader.pages) > 3


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


def test_sixteen_positions_all_stand_in_the_strip() -> None:
    strip = tuple(StripCell(f"{n} Place{n}", "pump", "A", 0.5, 0.9) for n in range(1, 17))
    found = pages_text(read(sheet(strip=strip)))
    assert all(f"Place{n}" in found[0] for n in range(1, 17))
    assert all("Place" not in page for page in found[1:])


def test_other_scripts_are_embedded_and_can_be_read_back() -> None:
    name = "Большой кроншнеп Άλκηστις Łódź Größe Ӂ ქართული"
    reader = read(sheet(title=name))
    assert name in text(reader)
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            descriptor = font.get_object().get("/FontDescriptor")
            if descriptor is not None:
                assert "/FontFile2" in descriptor.get_object()


def test_a_character_no_face_has_prints_as_a_box_and_control_characters_vanish() -> None:
    found = text(read(sheet(title="漢 Kes\x00trel\u202e 🙂")))
    assert "□ Kes trel □" in found


@pytest.mark.parametrize("page", [0, 1])
def test_qr_code_is_segnos_matrix_on_every_page(page: int) -> None:
    given = sheet()
    code = segno.make(given.url, error="m", micro=False)
    # segno's own border: the quiet zone of ISO/IEC 18004, four modules
    wanted = {
        (down, across)
        for down, row in enumerate(code.matrix_iter(border=4))
        for across, dark in enumerate(row)
        if dark
    }
    assert qr_modules(read(given), page) == wanted


def test_qr_code_is_stored_once_for_all_pages() -> None:
    reader = read(sheet())
    stored = {
        form.indirect_reference.idnum
        for page in reader.pages
        for form in (ref.get_object() for ref in page["/Resources"]["/XObject"].values())
    }
    assert len(stored) == 1


def test_equal_sheets_give_equal_bytes() -> None:
    assert sheet_pdf(sheet()) == sheet_pdf(sheet())
    assert sheet_pdf(sheet()) != sheet_pdf(sheet(number=413))


def test_document_names_itself() -> None:
    reader = read(sheet(language="de"))
    assert reader.metadata is not None
    assert reader.metadata.title == "Service sheet 0412, Kestrel"
    assert reader.metadata.author == "Tern Hollow Insulating"
    assert reader.trailer["/Root"]["/Lang"] == "de"


def test_several_sheets_share_a_file_and_keep_their_own_counts() -> None:
    numbers = (412, 413, 420)
    file = sheets_pdf(sheet(number=n, url=f"https://shop.example/{n}") for n in numbers)
    reader = PdfReader(BytesIO(file))
    found = pages_text(reader)
    assert len(found) == 6
    for index, number in enumerate(numbers):
        assert f"Sheet 0{number}, page 1 of 2" in found[index * 2]
        assert f"Sheet 0{number}, page 2 of 2" in found[index * 2 + 1]
        assert qr_modules(reader, index * 2) == qr_modules(
            read(sheet(url=f"https://shop.example/{number}")), 0
        )
    titles = [entry.title for entry in reader.outline if not isinstance(entry, list)]
    assert titles == [f"Sheet 0{n}, Kestrel" for n in numbers]
    starts = [
        reader.get_destination_page_number(entry)
        for entry in reader.outline
        if not isinstance(entry, list)
    ]
    assert starts == [0, 2, 4]
    inside = [entry.title for entry in reader.outline[1]]
    assert inside == ["Cautions", "Lockout", "Checks", "Parts and bins", "Readings when done"]
    assert reader.metadata is not None
    assert reader.metadata.title == "Service sheets 0412 to 0420"


def test_no_sheet_is_refused_in_words() -> None:
    with pytest.raises(ValueError, match="no service sheet to print"):
        sheets_pdf(())


def test_strip_frames_the_worked_positions() -> None:
    # look.md, Print: worked positions framed 2.5
    for worked in (0, 3):
        cells = tuple(replace(cell, worked=n < worked) for n, cell in enumerate(STRIP))
        content = read(sheet(strip=cells)).pages[0].get_contents()
        assert content is not None
        assert content.get_data().count(b"2.5 w") == worked


def test_a_drawn_signature_is_printed_as_lines_inside_its_cell() -> None:
    # The box of a phone: 1000 by 300, y down.
    drawn = "M 20 150 L 300 40 L 980 290 M 400 10 L 500 280"
    given = replace(signed_sheet(), drawn=drawn)
    reader = read(given)
    content = reader.pages[-1].get_contents()
    assert content is not None
    data = content.get_data()
    assert b"20 150 m" in data
    assert b"500 280 l" in data
    # It lies where the transform puts it: right of the time worked, above the foot, small enough.
    at = re.search(rb"([\d.]+) 0 0 -([\d.]+) ([\d.]+) ([\d.]+) cm[^c]*?20 150 m", data)
    assert at is not None
    scale, _, x, y = map(float, at.groups())
    assert 960 * scale <= 150.1
    assert 280 * scale <= 34.1
    assert 612 * 0.4 <= x + 20 * scale <= x + 980 * scale <= 612 - 36
    assert y - 290 * scale >= 36 + 18
    assert data.count(b" m") > read(signed_sheet()).pages[-1].get_contents().get_data().count(b" m")
    assert not any(page.images for page in reader.pages)


def test_parts_used_beyond_the_plan_can_be_written_in() -> None:
    assert "Also used:" in text(read(sheet()))
    assert "No parts are planned. Also used:" in text(read(sheet(parts=())))
    assert "Also used:" not in text(read(signed_sheet()))
    assert "Parts and bins" not in text(read(replace(signed_sheet(), parts=())))


@pytest.mark.parametrize("filler", range(0, 40, 3))
def test_lines_to_write_on_fill_the_last_page_and_never_make_another(filler: int) -> None:
    checks = tuple(PaperCheck(n, f"fill-{n}.") for n in range(filler))
    given = sheet(groups=(CheckGroup("1 Pump", "", "", checks),))
    pages = read(given).pages
    rules = _rules(pages[-1])
    lowest = min(y for y, _ in rules if y > 36 + 18)
    assert lowest >= 36 + 18 - 1
    for page in pages:
        assert all(36 <= y <= 792 - 33 for y, _ in _rules(page))


def _rules(page: PageObject) -> list[tuple[float, float]]:
    """(height, length) of each level line."""
    content = page.get_contents()
    assert content is not None
    lines = re.findall(rb"n ([\d.]+) ([\d.]+) m ([\d.]+) ([\d.]+) l S", content.get_data())
    found = [tuple(map(float, each)) for each in lines]
    return [(y, x2 - x) for x, y, x2, y2 in found if y == y2]


def test_what_waits_for_a_manager_stands_above_the_signature() -> None:
    given = replace(signed_sheet(), waits=("Generator hours contradict 1,190.", "2 seals short."))
    found = text(read(given))
    assert f"{WAITS} Generator hours contradict 1,190. 2 seals short. Started" in found
    assert WAITS not in text(read(signed_sheet()))
