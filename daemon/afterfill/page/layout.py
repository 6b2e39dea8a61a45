"""The frame of every page, and its small parts. Text is escaped in `report/markup.py` alone."""

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from urllib.parse import quote

from starlette.responses import HTMLResponse, Response

from afterfill.report.markup import Html, joined, tag, void
from afterfill.report.style import CHARTS, COLOURS

_HERE = Path(__file__).parent
SCRIPT = (_HERE / "page.js").read_text(encoding="utf-8")
STYLE = COLOURS + CHARTS + (_HERE / "page.css").read_text(encoding="utf-8")

ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><path fill="#0b5394" '
    'd="M16 2c5 8 9 12 9 17a9 9 0 0 1-18 0c0-5 4-9 9-17z"/></svg>'
)
_COMMAND = re.compile(r"`afterfill ([^`]+)`")

# The views of a tank: path, word. A further view is a row here and a route in `app.py`.
VIEWS = (("", "Now"), ("/log", "Log"), ("/plan", "Plan"), ("/history", "History"))

CAUTIONS = (
    "Fish that gasp, dart or lie on the bottom need help now, whatever a screen says. afterfill is "
    "no vet: ask one.",
    "Never mix chemicals, and never pour one into another's bottle.",
    "Mains and water: hands and phone dry, pumps and heaters through an RCD (GFCI).",
    "A tank joined to the drinking water needs protection against backflow: local code, and work "
    "for a licensed trade.",
    "This is not a drinking-water instrument, and no substitute for a test kit.",
)


def path_of(tank: str, view: str = "") -> str:
    """Where a tank's view is found."""
    return f"/tank/{quote(tank, safe='')}{view}"


def link(to: str, words: str, **attributes: str | None) -> Html:
    """A link within the page."""
    return tag("a", words, href=to, **attributes)


def button(words: str, **attributes: str | None) -> Html:
    """A button that sends its form."""
    return tag("button", words, type="submit", **attributes)


def form(to: str, *content: str, ticket: str = "", **attributes: str | None) -> Html:
    """A form that changes something; its ticket lets it be sent once."""
    hidden = void("input", type="hidden", name="ticket", value=ticket) if ticket else Html("")
    return tag("form", hidden, *content, method="post", action=to, **attributes)


def document(
    title: str,
    *body: str,
    tanks: Sequence[str] = (),
    tank: str | None = None,
    view: str = "",
    notes: Sequence[str] = (),
    status: int = 200,
    live: bool = False,
) -> Response:
    """A whole page. `tanks`: all there are (none: before the log-in); `tank`, `view`: where this
    is; `notes`: what was just done; `live`: it is kept up to date by the script."""
    said = [tag("p", note, class_="note", role="status") for note in notes]
    main = tag("main", *said, *body, id="main", tabindex="-1")
    parts = [*_top(tanks, tank), main, *_views(tank, view), _foot(bool(tanks))]
    script = tag("script", src="/page.js", defer="defer") if live else Html("")
    head = tag(
        "head",
        void("meta", charset="utf-8"),
        void("meta", name="viewport", content="width=device-width, initial-scale=1"),
        void("meta", name="color-scheme", content="light dark"),
        void("link", rel="icon", href="/icon.svg", type="image/svg+xml"),
        void("link", rel="stylesheet", href="/page.css"),
        tag("title", f"{title} - afterfill"),
        script,
    )
    html = tag("html", head, tag("body", *parts, class_="of-tank" if tank else None), lang="en")
    return HTMLResponse(f"<!DOCTYPE html>\n{html}\n", status)


def _top(tanks: Sequence[str], tank: str | None) -> Iterator[Html]:
    yield link("#main", "Skip to the content", class_="skip")
    if len(tanks) > 1 and tank is not None:
        yield tag("header", link("/", "All tanks"))


def _views(tank: str | None, view: str) -> Iterator[Html]:
    if tank is None:
        return
    links = [
        link(path_of(tank, path), word, aria_current="page" if path == view else None)
        for path, word in VIEWS
    ]
    yield tag("nav", *links, class_="views", aria_label=f"Tank {tank}")


def _foot(logged_in: bool) -> Html:
    cautions = tag("ul", *(tag("li", it) for it in CAUTIONS))
    out = form("/logout", button("Log out", class_="plain")) if logged_in else Html("")
    return tag("footer", tag("h2", "Cautions"), cautions, out)


def without_options(text: str) -> str:
    """A command's sentence for a form, which has no options."""
    return re.sub(r"^--[a-z-]+:? ", "", text)


def sentence(text: str) -> str:
    """With a capital and a full stop."""
    text = text.strip()
    return text if not text else text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")


def with_links(tank: str, text: str) -> Html:
    """The text, with a link in place of each command that the page itself can do for `tank`."""
    parts: list[str] = []
    for number, part in enumerate(_COMMAND.split(text)):
        to = _place(tank, part) if number % 2 else None
        if to is not None:
            parts.append(link(*to))
        else:
            parts.append(tag("code", f"afterfill {part}") if number % 2 else part)
    return joined(*parts)


def _place(tank: str, command: str) -> tuple[str, str] | None:
    words = command.split()
    if words[0] == "log" and len(words) > 1:
        return path_of(tank, f"/log?open={quote(words[1])}#{quote(words[1])}"), "log it here"
    if words[0] == "plan":
        rescue = "--rescue" in words
        return path_of(tank, "/rescue" if rescue else "/plan"), "see the plan here"
    return (path_of(tank), "see it here") if words == ["now"] else None


def html_of(tank: str, lines: Sequence[str]) -> Html:
    """Lines of a command's answer as HTML: what is indented is a list, numbered or not, and what
    stands before it without a full stop is its heading."""
    parts: list[Html] = []
    items: list[str] = []
    for number, line in enumerate([*lines, ""]):
        if line.startswith("  "):
            items.append(line.strip())
            continue
        if items:
            parts.append(_listed(tank, items))
            items = []
        heads = number + 1 < len(lines) and lines[number + 1].startswith("  ")
        if line:
            is_heading = heads and not line.endswith(".")
            parts.append(tag("h2", line) if is_heading else tag("p", with_links(tank, line)))
    return joined(*parts)


def _listed(tank: str, items: Sequence[str]) -> Html:
    numbered = all(re.match(r"\d+\. ", item) for item in items)
    plain = [re.sub(r"^(\d+\.|-) ", "", item) for item in items]
    return tag(
        "ol" if numbered else "ul", *(tag("li", with_links(tank, sentence(item))) for item in plain)
    )
