"""What holds for the project as a whole: layers, dependencies, pages without strangers, documents.

Each rule reads the files themselves, so that breaking it is noticed in the change that does.
"""

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import load_command_class
from importlinter.cli import lint_imports

ROOT = Path(settings.BASE_DIR)
APPS = ("shop", "equipment", "inventory")
ALLOWED_AT_THE_TOP = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "manage.py",
    "pyproject.toml",
    "shop",
    "equipment",
    "inventory",
    "templates",
    "tests",
}
#: Installed for what they do, not for what is imported from them.
USED_WITHOUT_IMPORT = {"gunicorn", "psycopg", "tzdata"}
DEMO = "python3 -m venv .venv && .venv/bin/pip install -e . && .venv/bin/python manage.py demo"
TESTS = "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && .venv/bin/pytest"

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]


def our_code() -> list[Path]:
    """Every module that runs in the shop: not tests, not migrations."""
    modules = [ROOT / "manage.py"]
    for app in APPS:
        modules += [p for p in (ROOT / app).rglob("*.py") if "migrations" not in p.parts]
    return modules


def sent_to_browsers() -> Iterator[Path]:
    """Every text file of ours that reaches a browser."""
    for folder in (ROOT / "templates", *(ROOT / app for app in APPS)):
        for path in folder.rglob("*"):
            if path.suffix in {".html", ".css", ".js", ".svg", ".webmanifest"}:
                yield path


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def hits(pattern: str, paths: list[Path]) -> list[str]:
    """Return "file:line: text" for each line that the pattern is found in."""
    sought = re.compile(pattern, re.IGNORECASE)
    return [
        f"{name_of(path)}:{number}: {line.strip()[:100]}"
        for path in paths
        for number, line in enumerate(path.read_text().splitlines(), 1)
        if sought.search(line)
    ]


# --- layout ----------------------------------------------------------------------------------


def test_the_layers_hold(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(ROOT)
    assert lint_imports(config_filename="pyproject.toml", no_cache=True) == 0


def test_the_top_level_holds_only_what_a_newcomer_needs():
    made_by_tools = re.compile(r"\..*|.*\.egg-info|build|__pycache__")
    found = {path.name for path in ROOT.iterdir() if not made_by_tools.fullmatch(path.name)}
    assert found <= ALLOWED_AT_THE_TOP


def test_every_folder_of_tests_is_a_package():
    # Else two test_services.py of different apps cannot run together.
    folders = {path.parent for path in (ROOT / "tests").rglob("test_*.py")}
    assert [name_of(folder) for folder in folders if not (folder / "__init__.py").exists()] == []


def test_nothing_is_left_for_later():
    words = "|".join(("TO" + "DO", "FIX" + "ME", "XX" + "X", "HA" + "CK"))
    tests = list((ROOT / "tests").rglob("*.py"))
    assert hits(rf"\b({words})\b", [*our_code(), *sent_to_browsers(), *tests]) == []


# --- dependencies ----------------------------------------------------------------------------


def plain(requirement: str) -> str:
    """Return a distribution's bare name: ``psycopg[binary]~=3.3`` is ``psycopg``."""
    return re.split(r"[^A-Za-z0-9._-]", requirement)[0].lower().replace("_", "-")


def imported() -> dict[str, set[str]]:
    """Return the distributions our code imports from, and where."""
    owners = packages_distributions()
    found: dict[str, set[str]] = {}
    for path in our_code():
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Import):
                modules = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
                modules = [node.module]
            else:
                continue
            for top in {module.split(".")[0] for module in modules}:
                if top not in sys.stdlib_module_names and top not in APPS:
                    owner = plain(owners.get(top, [top])[0])
                    found.setdefault(owner, set()).add(name_of(path))
    return found


def test_our_code_imports_only_declared_dependencies():
    declared = {plain(requirement) for requirement in PROJECT["dependencies"]}
    assert {name: where for name, where in imported().items() if name not in declared} == {}


def test_every_dependency_is_used():
    declared = {plain(requirement) for requirement in PROJECT["dependencies"]}
    owners = packages_distributions()
    installed = {plain(owners.get(app.split(".")[0], [""])[0]) for app in settings.INSTALLED_APPS}
    middleware = {plain(owners.get(m.split(".")[0], [""])[0]) for m in settings.MIDDLEWARE}
    assert declared - imported().keys() - installed - middleware - USED_WITHOUT_IMPORT == set()


def test_every_dependency_says_what_it_saves_us():
    lines = (ROOT / "pyproject.toml").read_text().splitlines()
    requirements = [
        *PROJECT["dependencies"],
        *(r for group in PROJECT["optional-dependencies"].values() for r in group),
    ]
    commented = re.compile(r'\s*"(?P<requirement>[^"]+)",\s+# .*\w{3}.*')
    explained = {match["requirement"] for line in lines if (match := commented.fullmatch(line))}
    assert [r for r in requirements if r not in explained] == []


def test_no_dependency_is_pinned_to_an_address():
    assert hits(r"\s@\s|https?://|git\+", [ROOT / "pyproject.toml"]) == []


# --- pages -----------------------------------------------------------------------------------


def test_pages_ask_no_other_host_for_anything():
    # The name of the SVG language is an address by spelling only; nobody fetches it.
    elsewhere = r"https?://(?!www\.w3\.org/)|(src|href)=[\"']//|url\([\"']?//|@import"
    assert hits(elsewhere, list(sent_to_browsers())) == []


def test_pages_hold_no_inline_script_or_style():
    # What the content security policy would refuse in the browser is refused here already. It lets
    # through what carries the word made for this one answer.
    inline = (
        r"\sstyle=|<(style|script)\b(?![^>]*(\bsrc=|type=\"application/json\"|"
        r"\bnonce=\"{{ request\.csp_nonce }}\"))"
        r"|\son[a-z]+=|javascript:|\bhx-on\b"
    )
    assert hits(inline, [p for p in sent_to_browsers() if p.suffix in {".html", ".svg"}]) == []
    assert hits(r"<[^>]*\sstyle=\\?[\"']", our_code()) == []


def test_the_trade_calls_it_a_service_sheet():
    assert hits(r"work[ _-]order", [*our_code(), *sent_to_browsers()]) == []


# --- documents -------------------------------------------------------------------------------


def read(name: str) -> str:
    return (ROOT / name).read_text()


def test_the_readme_says_the_job_and_then_the_two_commands():
    readme = read("README.md")
    lines = [line.strip().strip("`") for line in readme.splitlines()]
    assert DEMO in lines
    assert TESTS in lines
    assert lines.index(DEMO) < lines.index(TESTS)
    before = readme[: readme.index(DEMO)]
    paragraphs = [block for block in re.split(r"\n\s*\n", before) if len(block.strip()) > 120]
    assert len(paragraphs) == 1


def test_every_setting_is_in_the_readme():
    tree = ast.parse(read("shop/settings.py"))
    names = {
        node.args[0].value
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and isinstance(node.func.value, ast.Name)
        and node.func.value.id == "env"
        and node.args
        and isinstance(node.args[0], ast.Constant)
    }
    assert {"SECRET_KEY", "DATABASE_URL", "STROKEBOOK_DATA"} <= names  # the search finds them
    readme = read("README.md")
    assert [name for name in sorted(names) if f"`{name}`" not in readme] == []


def test_only_the_settings_read_the_environment():
    readers = hits(r"\b(os\.environ|getenv)\b", our_code())
    allowed = ("shop/settings.py", "manage.py", "shop/wsgi.py")
    assert [line for line in readers if not line.startswith(allowed)] == []


def commands() -> list[tuple[str, str]]:
    return [
        (app, path.stem)
        for app in APPS
        for path in sorted((ROOT / app / "management" / "commands").glob("*.py"))
        if not path.stem.startswith("_")
    ]


@pytest.mark.parametrize(("app", "command"), commands())
def test_every_command_explains_itself(app: str, command: str):
    help_text = load_command_class(app, command).help
    assert len(help_text.split()) >= 4, f"{command} has no help"
    documents = read("README.md") + read("DEVELOPERS.md")
    assert f"manage.py {command}" in documents, f"{command} is in neither document"


def is_there(pointer: str) -> bool:
    """Is there such a file, folder or test? ``*`` stands for any part of a name."""
    path, _, test = pointer.partition("::")
    found = list(ROOT.glob(path)) if "*" in path else [ROOT / path]
    if not found or not found[0].exists():
        return False
    name = test.split("::")[-1].split("[")[0]
    return not name or f"def {name}(" in found[0].read_text()


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_what_the_documents_point_at_exists(document: str):
    folders = "|".join((*APPS, "tests", "templates"))
    pointers = re.findall(rf"`((?:{folders})/[^`\s]*)`", read(document))
    assert [pointer for pointer in pointers if not is_there(pointer)] == []


@pytest.mark.parametrize("title", ["What we promise", "Each guard and its twin"])
def test_each_promise_and_each_guard_names_the_test_that_holds_it(title: str):
    developers = read("DEVELOPERS.md")
    section = re.search(rf"^## {title}\n(.*?)(?=^## |\Z)", developers, re.M | re.S)
    assert section, f"DEVELOPERS.md has no section “{title}”"
    points = re.findall(r"^[-*] .*?(?=^[-*] |\Z)", section[1], re.M | re.S)
    rows = re.findall(r"^\|.*\|$", section[1], re.M)[2:]
    assert points or rows
    assert [promise for promise in (*points, *rows) if "`tests/" not in promise] == []
