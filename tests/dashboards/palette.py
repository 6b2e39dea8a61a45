"""Colours and words of the dashboards. No colour stands alone: words, or dashes, say the same.

The colours are five of the eight of M. Okabe & K. Ito 2008, "Color Universal Design" (from
memory), with a grey of our own in place of their black, so that they show on dark and on light.
`test_dashboards_colours.py` measures how far apart they stay for people who see fewer colours.
"""

from grafana_foundation_sdk.models.dashboard import (
    DashboardRangeMapOptions,
    RangeMap,
    ValueMap,
    ValueMapping,
    ValueMappingResult,
)

BLUE, SKY, ORANGE, VERMILLION, GREY = "#0072B2", "#56B4E9", "#E69F00", "#D55E00", "#999999"

Word = tuple[str, str]  # what is shown, and its colour


def words(said: dict[str, Word]) -> list[ValueMapping]:
    """Values of the database as words."""
    results = {
        value: ValueMappingResult(text=text, color=colour, index=number)
        for number, (value, (text, colour)) in enumerate(said.items())
    }
    return [ValueMap(options=results)]


def spans(*bounds: tuple[float | None, float | None, str, str]) -> list[ValueMapping]:
    """Ranges (from, to) of a figure as words."""
    return [
        RangeMap(
            options=DashboardRangeMapOptions(
                from_val=low,
                to=high,
                result=ValueMappingResult(text=text, color=colour, index=number),
            )
        )
        for number, (low, high, text, colour) in enumerate(bounds)
    ]


SAFE = ("✓ safe as far as seen", BLUE)
UNSURE = ("? CANNOT TELL", ORANGE)
UNSAFE = ("! NOT SAFE", VERMILLION)
LEARNING = ("… LEARNING", SKY)
STANDING = words({"safe": SAFE, "cannot-tell": UNSURE, "not-safe": UNSAFE, "learning": LEARNING})
SILENT = ("– CANNOT TELL: silent", GREY)
STANDING_CODE = words({"0": SILENT, "1": SAFE, "2": UNSURE, "3": UNSAFE, "4": LEARNING})
VERDICT = words(
    {
        "clear": ("✓ clear", BLUE),
        "possible": ("? possible", ORANGE),
        "carried-over": ("! carried-over", VERMILLION),
        "cannot-tell": ("– cannot-tell", GREY),
    }
)
SIGHT = words({"true": ("✓ can be used", BLUE), "false": ("– BLIND", VERMILLION)})
UP = words({"true": ("✓ up", BLUE), "false": ("! down", VERMILLION)})
YES = words({"true": ("yes", BLUE), "false": ("no", GREY)})
KNOWN = words({"true": ("yes", BLUE), "false": ("– cannot be judged", ORANGE)})
STATE = words(
    {
        "normal": ("✓ normal", BLUE),
        "unacknowledged": ("! asks", VERMILLION),
        "acknowledged": ("+ acknowledged, holds", ORANGE),
        "returned-to-normal-unacknowledged": ("~ over, not seen", SKY),
        "shelved": ("– shelved", GREY),
        "suppressed-by-design": ("– suppressed by design", GREY),
        "out-of-service": ("– out of service", GREY),
    }
)
AGE = spans(
    (None, 120.0, "✓ fresh", BLUE),
    (120.0, 600.0, "? late", ORANGE),
    (600.0, None, "! silent", VERMILLION),
)
