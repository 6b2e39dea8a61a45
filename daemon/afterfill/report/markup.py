"""HTML as values: text is escaped when it becomes HTML, and nowhere else."""

from collections.abc import Sequence
from html import escape

from afterfill.shown import shown_lines


class Html(str):
    """Text that is HTML already."""

    __slots__ = ()


def tag(name: str, /, *children: str, **attributes: str | None) -> Html:
    """``<name ...>children</name>``; a child that is not Html is escaped, so is every value.

    Attributes: a trailing underscore goes, others become hyphens; None is left out.

    >>> tag("p", "a < b", class_="lead")
    '<p class="lead">a &lt; b</p>'
    """
    return Html(f"{void(name, **attributes)}{joined(*children)}</{name}>")


def void(name: str, /, **attributes: str | None) -> Html:
    """A tag that is never closed, such as an input of a form; attributes as for `tag`.

    >>> void("input", name="ph", value='"')
    '<input name="ph" value="&quot;">'
    """
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{_text(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    return Html(f"<{name}{written}>")


def empty(name: str, /, **attributes: str | None) -> Html:
    """A tag that holds nothing, such as a line in a drawing."""
    return tag(name, **attributes)


def joined(*parts: str) -> Html:
    """The parts one after the other, escaped where they are not Html."""
    return Html("".join(part if isinstance(part, Html) else _text(part) for part in parts))


def _text(text: str) -> str:
    """Escaped for HTML, and what would turn or hide letters shown as an escape."""
    return escape(shown_lines(text))


def table(headers: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> Html:
    """A table; on a phone each cell carries its header with it (see the style)."""
    head = tag("tr", *(tag("th", name, scope="col") for name in headers))
    body = [
        tag(
            "tr",
            *(tag("td", cell, data_label=name) for name, cell in zip(headers, row, strict=True)),
        )
        for row in rows
    ]
    return tag("table", tag("thead", head), tag("tbody", *body))
