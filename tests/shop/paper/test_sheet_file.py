"""The file of printed sheets: its letters, codes, names and bookmarks."""

from io import BytesIO

import pytest
import segno
from pypdf import PdfReader
from reportlab.pdfbase.pdfdoc import PDFDocument

from shop.paper import document
from shop.paper.sheet import (
    SheetPaper,
    sheet_pdf,
    sheets_pdf,
)
from tests.shop.paper.reading import pages_text, qr_modules, read, text
from tests.shop.paper.samples import LOCKOUT, STRIP, sheet


def test_other_scripts_are_embedded_and_can_be_read_back() -> None:
    name = "Большой кроншнеп Άλκηστις Łódź Größe Ӂ ქართული"
    reader = read(sheet(title=name))
    assert name in text(reader)
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            descriptor = font.get_object().get("/FontDescriptor")
            if descriptor is not None:
                assert "/FontFile2" in descriptor.get_object()


def test_names_from_right_to_left_and_from_the_east_are_drawn_in_faces_of_the_file() -> None:
    reader = read(sheet(title="王小明 サトウ", signed="שלום כהן, محمد"))
    found = text(reader)
    assert "王小明 サトウ" in found
    assert "□" not in found
    assert "[" not in found.replace("[1]", "").replace("[2]", "").replace("[3]", "")
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            descriptor = font.get_object().get("/FontDescriptor")
            assert descriptor is None or "/FontFile2" in descriptor.get_object()


def test_a_face_is_in_the_file_only_where_a_letter_asks_for_it() -> None:
    assert "DejaVu" not in str(_faces(sheet()))
    assert "Droid" not in str(_faces(sheet(title="Großer Łódź Большой")))
    assert "Droid" in str(_faces(sheet(title="王")))


def _faces(given: SheetPaper) -> set[str]:
    return {
        font.get_object()["/BaseFont"]
        for page in read(given).pages
        for font in page["/Resources"]["/Font"].values()
    }


def test_letters_no_face_has_are_said_in_latin_ones_and_control_characters_vanish() -> None:
    found = text(read(sheet(title="김민수, Kes\x00trel\u202e 🙂 \ue000")))
    assert "[GimMinSu], Kes trel [:slight_smile:] □" in found


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


def test_a_file_written_object_by_object_is_the_one_that_the_library_writes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Ours holds less in memory meanwhile; see `shop.paper.document`."""
    given = [sheet(number=number, drawn="M 1 2 L 3 4", signed="J. Doe") for number in (412, 413)]
    ours = sheets_pdf(given)
    theirs: list[bytes] = []

    def formatted(made: PDFDocument, _: BytesIO) -> bytes:
        theirs.append(PDFDocument.format(made))
        return theirs[0]

    monkeypatch.setattr(document, "_write", formatted)
    assert sheets_pdf(given) == ours
    assert theirs == [ours]


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


@pytest.mark.parametrize(
    ("rig_number", "icon", "named"), [(4, "", "Kestrel"), (None, "gun", "GUN-07")]
)
@pytest.mark.parametrize("language", ["en", "es"])
def test_a_sheet_has_a_title_a_language_and_a_bookmark_for_each_section(
    rig_number: int | None, icon: str, named: str, language: str
) -> None:
    given = sheet(
        rig_number=rig_number,
        icon=icon,
        title=named,
        language=language,
        strip=STRIP if rig_number else (),
        way_back=LOCKOUT[:2],
        edition=2,
    )
    reader = read(given)
    assert reader.metadata is not None
    assert reader.metadata.title is not None
    assert reader.metadata.title.endswith(f"0412, {named}")
    assert reader.trailer["/Root"]["/Lang"] == language
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/DisplayDocTitle"]
    whole, sections = reader.outline
    assert whole.title.endswith(f"0412, {named}")
    assert reader.get_destination_page_number(whole) == 0
    parts, back = {
        "en": ("Parts and bins", "Back to service"),
        "es": ("Piezas y casilleros", "Vuelta al servicio"),
    }[language]
    wanted = {
        ("en", True): ["Cautions", "Lockout", "Checks", parts, back],
        ("en", False): ["Cautions", "On the bench", "Checks", parts, back],
        ("es", True): ["Avisos de seguridad", "Bloqueo", "Revisiones", parts, back],
        ("es", False): ["Avisos de seguridad", "En el banco", "Revisiones", parts, back],
    }[language, rig_number is not None]
    assert [entry.title for entry in sections][:5] == wanted
    assert len(sections) == 6
    pages = pages_text(reader)
    for entry in sections:
        # Each leads to the page that its heading stands on.
        assert entry.title in pages[reader.get_destination_page_number(entry)]
