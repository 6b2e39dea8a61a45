"""How options take numbers as people type them: decimal comma, and units where there are some."""

from collections.abc import Callable
from typing import Any

import typer

from afterfill.chemistry.kit_units import (
    alkalinity_from,
    ammonia_from,
    chlorine_from,
    free_chlorine_from,
)
from afterfill.chemistry.typed import number_from
from afterfill.errors import ModelDomainError, UsageError


def number_option(
    name: str,
    *,
    help: str,
    low: float | None = None,
    high: float | None = None,
    **more: Any,  # noqa: ANN401 - typer's own
) -> Any:  # noqa: ANN401 - typer's own
    """An option that takes a number, at least `low` and at most `high`."""
    return _option(name, number_from, help, (low, high), metavar="NUMBER", **more)


def alkalinity_option(name: str, *, help: str) -> Any:  # noqa: ANN401 - typer's own
    """An option that takes an alkalinity [mg/L as CaCO3], also as ``5 dKH``."""
    return _option(name, alkalinity_from, help, (None, None), metavar="MG/L")


def ammonia_option(name: str, *, help: str) -> Any:  # noqa: ANN401 - as above
    """An option that takes total ammonia [mg/L as N], also as ``0.5 NH3`` or ``0.5 NH4+``."""
    return _option(name, ammonia_from, help, (None, None), metavar="MG/L")


def chlorine_option(name: str, *, help: str) -> Any:  # noqa: ANN401 - as above
    """An option that takes total chlorine [mg/L as Cl2], also as ``1 NH2Cl``."""
    return _option(name, chlorine_from, help, (None, None), metavar="MG/L")


def free_chlorine_option(name: str, *, help: str) -> Any:  # noqa: ANN401 - as above
    """An option that takes free chlorine [mg/L as Cl2]."""
    return _option(name, free_chlorine_from, help, (None, None), metavar="MG/L")


def _option(
    name: str,
    reads: Callable[[object], float],
    help_: str,
    bounds: tuple[float | None, float | None],
    **more: Any,  # noqa: ANN401 - typer's own
) -> Any:  # noqa: ANN401 - typer's own
    def read(text: Any) -> float:  # noqa: ANN401 - text, or the default as it stands
        try:
            return _within(reads(text), bounds)
        except ModelDomainError as error:
            raise UsageError(f"{name}: {error}") from error

    return typer.Option(name, parser=read, help=help_, **more)


def _within(value: float, bounds: tuple[float | None, float | None]) -> float:
    low, high = bounds
    if low is not None and value < low:
        raise ModelDomainError(f"{value:g} is too little: give at least {low:g}")
    if high is not None and value > high:
        raise ModelDomainError(f"{value:g} is too much: give at most {high:g}")
    return value
