"""The rows of a list say what the table library would say, cell by cell."""

import re
from typing import Any

import django_tables2 as tables
from django.template import Context, Template
from django.test import RequestFactory
from django.utils.html import escape, format_html


class BinTable(tables.Table):
    code = tables.Column(verbose_name="Bin & shelf", attrs={"td": {"class": "num"}})
    name = tables.Column()
    note = tables.Column(empty_values=(), orderable=False)
    kind = tables.Column(linkify=lambda record: f"/bins/{record['code']}/")

    def render_code(self, value: str, record: dict[str, Any]) -> str:
        return format_html("<b>{}</b>", f"{value}/{record['name']}")

    def render_note(self, **known: Any) -> str:
        return f"{known['column'].verbose_name or 'no name'} of {known['record']['code']}"


ROWS = [
    {"code": "S-1", "name": "<small>", "kind": "bin"},
    {"code": "S-2", "name": "", "kind": "drawer"},
    {"code": "S-3", "name": None, "kind": "tray"},
]


def drawn(table: tables.Table) -> str:
    request = RequestFactory().get("/")
    template = Template("{% load rows %}{% table_rows table %}")
    return template.render(Context({"table": table, "request": request}))


def test_each_cell_is_what_the_library_draws_and_names_its_column():
    table = BinTable(ROWS)
    cells = re.findall(r'<td role="cell" (.*?)data-label="(.*?)">(.*?)</td>', drawn(table))
    wanted = [
        (column.attrs["td"].as_html().strip(), escape(column.header), said)
        for row in table.rows
        for column, said in ((each, str(cell)) for each, cell in row.items())
    ]
    assert len(cells) == len(wanted) == 12
    for (attrs, label, said), (attrs_wanted, label_wanted, said_wanted) in zip(
        cells, wanted, strict=True
    ):
        assert attrs.strip() == attrs_wanted
        assert label == label_wanted
        assert said in (said_wanted, escape(said_wanted))


def test_what_people_typed_is_escaped_and_what_we_marked_up_is_not():
    page = drawn(BinTable(ROWS))
    assert "&lt;small&gt;" in page
    assert "<small>" not in page
    assert "<b>S-2/</b>" in page
    assert '<a href="/bins/S-3/">tray</a>' in page


def test_rows_come_in_the_order_of_the_page_and_only_those_of_it():
    table = BinTable(ROWS)
    table.paginate(page=2, per_page=2)
    page = drawn(table)
    assert "S-3" in page
    assert "S-1" not in page
    assert page.count('<tr role="row"') == 1
