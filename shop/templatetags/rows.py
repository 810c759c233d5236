"""The rows of a list, drawn in one go.

The template's own loop asks a column for its attributes anew for each cell, looks each name up
cell by cell, and has the arguments of each column's `render` found out anew each time: for fifty
rows that was two thirds of the time that a list page took.
"""

from typing import Any

from django import template
from django.template.base import render_value_in_context
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django_tables2.utils import signature

register = template.Library()


@register.simple_tag(takes_context=True)
def table_rows(context: template.Context, table: Any) -> SafeString:
    """{% table_rows table %}: the rows of this page; each cell names its column, for the phone.

    A column's attributes are those of the column: nothing here calls them with a record.
    """
    columns = [_Column(column) for column in table.columns]
    written = []
    for row in table.paginated_rows:
        written.append(f'<tr role="row" {row.attrs.as_html()}>')
        for column in columns:
            cell = render_value_in_context(column.cell(row), context)
            written.append(f"{column.opening}{cell}</td>")
        written.append("</tr>")
    return mark_safe("\n".join(written))


class _Column:
    """What is the same for all cells of a column."""

    def __init__(self, column: Any) -> None:
        self.bound = column
        self.default = column.default
        self.names, self.takes_all = signature(column.render)
        self.opening = format_html(
            '<td role="cell" {} data-label="{}">', column.attrs["td"].as_html(), column.header
        )

    def cell(self, row: Any) -> Any:
        """What `row.get_cell` gives, which finds the arguments of `render` for each cell."""

        def render(bound: Any, value: Any = None) -> Any:
            known = row._optional_cell_arguments(bound, value)
            given = known if self.takes_all else {name: known[name] for name in self.names}
            content = bound.render(**given)
            return bound.link(content, **known) if bound.link else content

        return row._get_and_render_with(self.bound, render_func=render, default=self.default)
