"""What a browser is sent beside pages: one style sheet, compressed, kept until it changes."""

import gzip
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse
from django.middleware.gzip import GZipMiddleware
from django.templatetags.static import static
from django.test import Client

from shop import statics
from shop.models import Role

GZIP = {"accept-encoding": "gzip"}
FONT = r'url\("[^"]*fonts/[^"]+"\)'
ADDRESS = re.compile(r'(?:href|src)="(/static/[^"]+)"')


@pytest.fixture
def fresh() -> Any:
    """Versions worked out anew, before and after."""
    statics.version_of.cache_clear()
    yield
    statics.version_of.cache_clear()


def content(answer: Any) -> bytes:
    return b"".join(answer.streaming_content)


class TestOneSheet:
    def test_it_is_its_parts_in_their_order(self) -> None:
        whole = Path(str(finders.find(statics.ONE_SHEET))).read_text(encoding="utf-8")
        places = []
        for name in statics.PARTS:
            part = Path(str(finders.find(f"shop/{name}.css"))).read_text(encoding="utf-8")
            # But for the addresses of fonts.
            part = re.sub(FONT, "", part).strip()
            assert part in re.sub(FONT, "", whole), name
            places.append(re.sub(FONT, "", whole).index(part))
        assert places == sorted(places)

    def test_it_is_written_anew_when_a_part_changes(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        for name in statics.PARTS:
            (tmp_path / f"{name}.css").write_text(f".{name} {{}}", encoding="utf-8")
        monkeypatch.setattr(statics, "_HERE", tmp_path)
        monkeypatch.setattr(statics, "kept_in", lambda: tmp_path / "served")
        (found,) = finders.find(statics.ONE_SHEET, find_all=True)
        assert Path(found).read_text().splitlines()[0] == ".tokens {}"
        (tmp_path / "tokens.css").write_text(".other {}", encoding="utf-8")
        assert Path(str(finders.find(statics.ONE_SHEET))).read_text().startswith(".other {}")

    def test_it_is_listed_with_the_other_files(self) -> None:
        listed = {path for finder in finders.get_finders() for path, _ in finder.list(None)}
        assert {statics.ONE_SHEET, statics.PAGE_SCRIPT} <= listed
        assert finders.find("shop/none.css") is None


class TestOneScript:
    """The modules of the technician's copy in one; that it works is the journeys' to show."""

    @pytest.fixture
    def modules(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
        def join(**texts: str) -> str:
            (tmp_path / "phone").mkdir(exist_ok=True)
            for name, text in texts.items():
                (tmp_path / "phone" / f"{name}.js").write_text(text, encoding="utf-8")
            monkeypatch.setattr(statics, "_HERE", tmp_path)
            return statics.joined_script()

        return join

    def test_each_module_is_there_once_before_those_that_need_it(
        self, modules: Callable[..., str]
    ) -> None:
        assert modules(
            store="const way = 1;\nexport const keep = () => way;\nexport function drop() {}\n",
            copy='import * as store from "./store.js";\nexport const sheet = store.keep();\n',
            sheet='import { sheet as page } from "./copy.js";\n'
            'import { drop } from "./store.js";\nimport "./copy.js";\nawait drop(page);\n',
        ) == (
            "const in_store = (() => {\nconst way = 1;\nconst keep = () => way;\n"
            "function drop() {}\nreturn { keep, drop };\n})();\n\n"
            "const in_copy = (() => {\nconst store = in_store;\nconst sheet = store.keep();\n"
            "return { sheet };\n})();\n\n"
            "const { sheet: page } = in_copy;\nconst { drop } = in_store;\nawait drop(page);\n"
        )

    @pytest.mark.parametrize(
        "text",
        [
            'import keep from "./store.js";\n',
            "export default 1;\n",
            "const a = 1;\nexport { a };\n",
            'import { a } from "elsewhere";\n',
        ],
    )
    def test_what_cannot_be_joined_is_refused(self, modules: Callable[..., str], text: str) -> None:
        with pytest.raises(ValueError, match="cannot be joined"):
            modules(sheet=text, store="export const a = 1;\n")

    def test_modules_that_need_each_other_are_refused(self, modules: Callable[..., str]) -> None:
        with pytest.raises(ValueError, match="cannot need each other"):
            modules(sheet='import "./copy.js";\n', copy='import "./sheet.js";\n')

    def test_all_that_the_sheet_needs_is_in_it(self) -> None:
        whole = statics.joined_script()
        assert "import " not in re.sub(r"//.*|/\*.*?\*/", "", whole, flags=re.DOTALL)
        folder = Path(str(finders.find("shop/phone/sheet.js"))).parent
        others = {"no_signal", "reporting", "sheet", "today", "walk", "worker"}
        for module in folder.glob("*.js"):
            assert module.stem in others or f"const in_{module.stem} = " in whole, module.stem


class TestWithinTheCopy:
    """The technician's copy holds its style and script, so that nothing more is to come."""

    def test_it_holds_all_that_it_needs(self) -> None:
        rules = set(statics.copy_style().splitlines())
        names = (f"shop/{name}.css" for name in statics.PARTS)
        for name in (*names, *statics.COPY_SHEETS):
            if "tables" in name:
                continue
            text = Path(str(finders.find(name))).read_text(encoding="utf-8")
            text = re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL)
            left = [each for each in text.splitlines() if each.strip() and each not in rules]
            assert not [each for each in left if "fonts/" not in each], name

    def test_its_script_is_whole_but_for_the_comments(self) -> None:
        page = Path(str(finders.find(statics.PAGE_SCRIPT))).read_text(encoding="utf-8")
        written = [*page.splitlines(), *statics.joined_script().splitlines()]
        script = [line for line in statics.copy_script().splitlines() if line]
        assert script == [
            line for line in written if line and not line.lstrip().startswith(("//", "/*", "*"))
        ]

    def test_no_line_of_a_text_could_be_taken_for_a_comment(self) -> None:
        """No module has a text over several lines."""
        written = statics.joined_script().splitlines()
        assert [line for line in written if line.count("`") % 2] == []

    @pytest.mark.parametrize("text", ["'</script>'", "// </SCRIPT ", "<!-- x"])
    def test_what_would_end_it_early_is_refused(
        self, monkeypatch: pytest.MonkeyPatch, settings: Any, text: str
    ) -> None:
        settings.DEBUG = True  # made anew
        monkeypatch.setattr(statics, "joined_script", lambda: text)
        with pytest.raises(ValueError, match="cannot hold"):
            statics.copy_script()


class TestSent:
    @pytest.mark.parametrize("name", [statics.ONE_SHEET, "shop/page.js", "shop/icon.svg"])
    def test_texts_travel_compressed_to_whom_can_read_it(self, client: Client, name: str) -> None:
        plain = Path(str(finders.find(name))).read_bytes()
        small = client.get(f"/static/{name}", headers=GZIP)
        assert small["Content-Encoding"] == "gzip"
        assert small["Vary"] == "Accept-Encoding"
        sent = content(small)
        assert int(small["Content-Length"]) == len(sent) < len(plain)
        assert gzip.decompress(sent) == plain
        whole = client.get(f"/static/{name}")
        assert "Content-Encoding" not in whole
        assert content(whole) == plain

    def test_a_font_travels_as_it_is(self, client: Client) -> None:
        answer = client.get("/static/shop/fonts/archivo.woff2", headers=GZIP)
        assert "Content-Encoding" not in answer

    def test_an_address_that_names_its_hash_is_kept_for_ever(self, client: Client) -> None:
        address = static(statics.ONE_SHEET)
        assert re.fullmatch(r"/static/shop/all\.css\?v=[0-9a-f]{12}", address)
        assert "immutable" in client.get(address)["Cache-Control"]
        for other in ("/static/shop/all.css", "/static/shop/all.css?v=0123456789ab"):
            assert client.get(other)["Cache-Control"] == "max-age=60, public"

    def test_another_content_has_another_address(
        self, fresh: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        before = static("shop/page.js")
        (tmp_path / "page.js").write_text("// another", encoding="utf-8")
        monkeypatch.setattr(finders, "find", lambda name: str(tmp_path / "page.js"))
        statics.version_of.cache_clear()
        assert static("shop/page.js") != before

    def test_a_developer_sees_each_change_at_once(self, fresh: None, settings: Any) -> None:
        settings.DEBUG = True
        assert static("shop/page.js") == "/static/shop/page.js"

    def test_a_file_that_is_not_there_has_no_version(self) -> None:
        assert static("shop/none.css") == "/static/shop/none.css"


@pytest.mark.django_db
class TestPages:
    def test_every_file_that_a_page_asks_for_is_there_and_asked_for_once(
        self, client_as: Callable[..., Client]
    ) -> None:
        client = client_as(Role.MANAGER)
        page = client.get("/").content.decode()
        addresses = ADDRESS.findall(page)
        assert len(addresses) >= 4
        assert all(client.get(address).status_code == 200 for address in addresses)
        sheet = content(client.get(static(statics.ONE_SHEET))).decode()
        # Asked for early and by the style sheet, a font must have one address.
        (font,) = (address for address in addresses if "woff2" in address)
        assert f'url("{font}")' in sheet
        assert f'url("{font}")' in statics.copy_style()

    def test_a_page_travels_compressed_and_its_length_varies(
        self, client_as: Callable[..., Client]
    ) -> None:
        client = client_as(Role.MANAGER)
        plain = client.get("/sign-in/")
        assert "Content-Encoding" not in plain
        answers = [client.get("/", headers=GZIP) for _ in range(12)]
        for answer in answers:
            assert answer["Content-Encoding"] == "gzip"
            assert "Accept-Encoding" in answer["Vary"]
            assert b"Foam Works" in gzip.decompress(answer.content)
        # So that its length tells nothing of what it holds.
        assert len({len(answer.content) for answer in answers}) > 3

    def test_what_is_small_already_is_left_alone(self) -> None:
        request = HttpRequest()
        request.META["HTTP_ACCEPT_ENCODING"] = "gzip"
        pdf = HttpResponse(b"%PDF" + b" " * 5_000, content_type="application/pdf")
        statics.CompressPages(lambda _: pdf).process_response(request, pdf)
        assert "Content-Encoding" not in pdf
        # Its twin: the framework's own would.
        GZipMiddleware(lambda _: pdf).process_response(request, pdf)
        assert pdf["Content-Encoding"] == "gzip"
