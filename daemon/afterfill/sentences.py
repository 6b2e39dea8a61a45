"""Turns what pydantic found wrong into one sentence: where, what was found, what is allowed."""

import difflib
from collections.abc import Iterable, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError

from afterfill.shown import without_secrets


def nearest(name: str, known: Iterable[str]) -> str:
    """The known name closest to `name` as an addition to a sentence, or the list of known names."""
    names = sorted(known)
    close = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
    if close:
        return f"did you mean '{close[0]}'?"
    return f"known here: {', '.join(names)}" if names else "nothing is known here"


def first_sentence(error: ValidationError, where: str, known: Sequence[str] = ()) -> str:
    """One sentence for the first thing that is wrong. `where` names the table or message.

    `known` lists the keys allowed at the top level of what was validated.
    """
    detail = first_detail(error)
    path = ".".join(str(part) for part in detail["loc"])
    if detail["type"] == "extra_forbidden":
        return f"{where}: unknown key '{path}'; {nearest(str(detail['loc'][-1]), known)}"
    if detail["type"] == "missing":
        return f"{where}: key '{path}' is missing"
    if detail["type"] == "model_type" and where.startswith("["):
        table = f"[{where.strip('[]')}.{path}]"
        return f"{where}: '{path}' is a table of keys, not {_shown(detail['input'])}: write {table}"
    return f"{where}: {_key(path)}{_reason(detail)}"


def first_detail(error: ValidationError) -> Any:  # noqa: ANN401 - pydantic's ErrorDetails
    """What to tell of an error: a misspelt key before the missing one that it was meant to be."""
    details = error.errors(include_url=False)
    return next((d for d in details if d["type"] == "extra_forbidden"), details[0])


def _key(path: str) -> str:
    return f"key '{path}' " if path else ""


def _reason(detail: Any) -> str:  # noqa: ANN401 - pydantic's ErrorDetails
    found = detail["input"]
    if str(detail["loc"][-1] if detail["loc"] else "").endswith("_file"):
        found = "not shown"  # it may be the secret itself
    context = detail.get("ctx", {})
    match detail["type"]:
        case "literal_error":
            guess = nearest(str(found), _literals(context))
            return f"is '{found}'; allowed: {context['expected']} ({guess})"
        case "tuple_type":
            return f"is {_shown(found)}: write both ends in brackets, such as [1, 2]"
        case "value_error":
            return f"is not usable: {context['error']}"
        case _:
            return f"is {_shown(found)}: {_lower_first(detail['msg'])}"


def _literals(context: dict[str, Any]) -> list[str]:
    expected = str(context["expected"]).replace(" or ", ", ")
    return [word.strip().strip("'") for word in expected.split(",")]


def _shown(found: object) -> str:
    text = without_secrets(repr(found))
    return text if len(text) <= 60 else f"{text[:57]}..."


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]


def known_keys(model: type[BaseModel]) -> list[str]:
    """The keys that a table of this model may hold."""
    return [info.alias or name for name, info in model.model_fields.items()]
