"""What is asked of a plan, and how it goes on from there."""

from urllib.parse import urlencode

from afterfill.page.forms import UNIT, Sheet, chosen, labelled, payload_of, plan_fields
from afterfill.page.layout import button, link, path_of
from afterfill.report.markup import Html, tag, void

_PLACES = (("bucket", "into the bucket"), ("line", "into the line"), ("tank", "into the tank"))
_ASKED = ("litres", "mode", "source", "dose_at", "dose_ml")


def plan_form(it: Sheet) -> tuple[Html, dict[str, object] | None]:
    """The form, and what it asks as it stands; None while there is no volume."""
    html = tag(
        "form",
        tag("h2", "Another amount?"),
        *plan_fields(it),
        labelled("plan-place", "Neutraliser goes",
                 chosen("plan-place", "dose_at", _PLACES, it.value("plan", "dose_at", "bucket"))),
        button("Plan it"),
        method="get", action=path_of(it.tank, "/plan"),
    )  # fmt: skip
    return html, _question(it)


def _question(it: Sheet) -> dict[str, object] | None:
    if it.given:
        said = payload_of(it.given)
    elif it.usual is not None and it.usual.litres is not None:
        volume = it.table.shown.typed_volume(it.usual.litres)
        said = {"litres": volume, "mode": it.usual.mode}
        if it.usual.source in it.config.source:
            said["source"] = str(it.usual.source)
    else:
        return None
    question: dict[str, object] = {key: said[key] for key in _ASKED if key in said}
    return question if "litres" in question else None


def poured_link(tank: str, question: dict[str, object]) -> Html:
    """To the log, with what was planned filled in; the dose is what is really poured."""
    litres, _, unit = str(question["litres"]).partition(" ")
    asked = {"litres": litres, "litres" + UNIT: unit or "L"}
    asked |= {key: str(question[key]) for key in ("mode", "source") if key in question}
    to = path_of(tank, f"/log?{urlencode(asked)}")
    return tag("p", link(to, "I pour it now: log it", class_="button"))


def rescue_form(given: dict[str, str]) -> tuple[Html, dict[str, object]]:
    """The form, and what it asks."""
    text = given.get("residual", "").strip()
    field = void("input",
        id="residual", name="residual", value=text, inputmode="decimal", autocomplete="off",
        type="text", maxlength="60",
    )  # fmt: skip
    html = tag(
        "form", tag("h2", "By a test kit"),
        labelled("residual", "Total chlorine now, DPD (mg/L as Cl2; empty: as believed)", field),
        button("Plan with it"), method="get",
    )  # fmt: skip
    question: dict[str, object] = {"rescue": True}
    if text:
        question["residual_mg_l"] = text
    return html, question
