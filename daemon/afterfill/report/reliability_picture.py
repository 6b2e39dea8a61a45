"""The reliability figure as SVG: what was said across, how often it came true upwards.

Each dot is a handful of times that about the same was said, with the share that so few allow as a
bar; what is right lies on the diagonal.
"""

from collections.abc import Iterator, Sequence

from afterfill.audit.reliability import Bin
from afterfill.report.markup import Html, empty, joined, tag

_SIDE, _LEFT, _TOP, _WIDTH, _HEIGHT = 420.0, 60.0, 90.0, 560.0, 600.0
_TICKS = (0.0, 0.25, 0.5, 0.75, 1.0)
_STYLE = """
svg { background: #fff; font: 13px system-ui, sans-serif; fill: #1a1d21; }
.note { font-size: 11px; }
.title { font-size: 16px; font-weight: 600; } .soft { fill: #565d66; }
.frame { fill: none; stroke: #a0a7b0; } .right { stroke: #565d66; stroke-dasharray: 6 4; }
.bar { stroke: #0b5394; stroke-width: 3; } .dot { fill: #0b5394; } .few { opacity: .45; }
"""


def reliability_picture(title: str, said: str, note: str, bins: Sequence[Bin]) -> Html:
    """The figure; `said` goes below its title, `note` below itself."""
    shapes = [*_frame(), *(mark for each in bins for mark in _marks(each))]
    if not bins:
        shapes.append(_text(_LEFT + _SIDE / 2, _TOP + _SIDE / 2, "no tests yet", "middle"))
    return tag(
        "svg",
        tag("title", f"{title}: {said}"),
        tag("style", Html(_STYLE)),
        _text(_LEFT, 30.0, title, class_="title"),
        _text(_LEFT, 50.0, said),
        *shapes,
        _text(_LEFT, _HEIGHT - 14.0, note, class_="note"),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {_WIDTH:g} {_HEIGHT:g}",
        role="img",
    )


def _frame() -> Iterator[Html]:
    bottom, right = _TOP + _SIDE, _LEFT + _SIDE
    yield empty("rect", class_="frame", x=_n(_LEFT), y=_n(_TOP), width=_n(_SIDE), height=_n(_SIDE))
    yield empty(
        "line", class_="right", x1=_n(_LEFT), y1=_n(bottom), x2=_n(right), y2=_n(_TOP)
    )  # fmt: skip
    for share in _TICKS:
        words = f"{share:.0%}"
        yield _text(_x(share), bottom + 18.0, words, "middle", class_="soft")
        yield _text(_LEFT - 8.0, _y(share) + 4.0, words, "end", class_="soft")
    yield _text(_LEFT + _SIDE / 2, bottom + 38.0, "said: over the limit", "middle", class_="soft")
    yield _text(_LEFT, _TOP - 10.0, "a test showed it", class_="soft")


def _marks(each: Bin) -> Iterator[Html]:
    """One bin; what is too few to tell is pale."""
    x, style = _n(_x(each.said)), "" if each.tells else " few"
    yield empty("line", class_=f"bar{style}", x1=x, x2=x, y1=_n(_y(each.low)), y2=_n(_y(each.high)))
    y = _y(each.came_true / each.n)
    yield empty("circle", class_=f"dot{style}", cx=x, cy=_n(y), r="6")
    yield _text(_x(each.said) + 10.0, y - 6.0, f"{each.came_true} of {each.n}")


def _text(x: float, y: float, words: str, anchor: str | None = None, **more: str) -> Html:
    return tag("text", joined(words), x=_n(x), y=_n(y), text_anchor=anchor, **more)


def _x(share: float) -> float:
    return _LEFT + _SIDE * share


def _y(share: float) -> float:
    return _TOP + _SIDE * (1.0 - share)


def _n(value: float) -> str:
    return f"{value:g}"
