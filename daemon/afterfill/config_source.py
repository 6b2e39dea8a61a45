"""A source of water in the configuration: the tap, what a filter leaves of it, water that stood."""

from datetime import UTC, date, datetime
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, field_validator, model_validator

from afterfill.config_fields import (
    Alkalinity,
    Ammonia,
    Celsius,
    Litres,
    MilligramsPerLitre,
    Number,
    Ph,
)
from afterfill.config_table import Table

_FILTER_KEYS = ("cartridge_litres", "cartridge_changed", "raw_residual_mg_l")


def _no_dioxide(word: object) -> object:
    plain = str(word).lower().replace("-", " ").replace("_", " ")
    if plain in ("chlorine dioxide", "dioxide", "clo2"):
        raise ValueError(
            "afterfill does not know chlorine dioxide: neither how an ORP probe answers it, nor "
            "how it and its chlorite decay, nor how much neutraliser they take. Do not rely on "
            "afterfill for this source; ask your utility what makes its water safe for fish"
        )
    return word


Disinfectant = Annotated[Literal["chlorine", "chloramine", "unknown"], BeforeValidator(_no_dioxide)]


def _start_s(day: date) -> float:
    """The beginning of a day [Unix s], in UTC: no utility switches to the hour."""
    return datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp()


class SourceChange(Table):
    """What the utility announced: from that day on the source is another one. Of a filtered source,
    `residual_mg_l` is the raw water's."""

    day: date = Field(alias="from")
    disinfectant: Disinfectant | None = None
    residual_mg_l: MilligramsPerLitre | None = None
    residual_max_mg_l: MilligramsPerLitre | None = None

    @property
    def from_s(self) -> float:
        """When it begins [Unix s]."""
        return _start_s(self.day)

    @model_validator(mode="after")
    def _changes_something(self) -> "SourceChange":
        if (self.disinfectant, self.residual_mg_l, self.residual_max_mg_l) == (None, None, None):
            raise ValueError("it changes nothing; give disinfectant or residual_mg_l")
        return self


class Source(Table):
    """The water that refills come from. What is not known is left out."""

    kind: Literal["tap", "filtered", "stored"] = "tap"
    disinfectant: Disinfectant = "unknown"
    # Mid of the usual 0.2-2 mg/L; utilities publish it. Of filtered water 0: what a filter is for.
    residual_mg_l: MilligramsPerLitre = 1.0
    residual_max_mg_l: MilligramsPerLitre | None = None  # default: twice the typical, at most 4
    raw_residual_mg_l: MilligramsPerLitre | None = None  # before the filter; default: as US taps
    cartridge_litres: Litres | None = None  # what its maker says it treats
    cartridge_changed: date | None = None
    chlorine_to_nitrogen: Number = Field(default=4.5, gt=0, le=20)  # usual 3:1-5:1 by mass
    free_ammonia_total_mg_l: Ammonia | None = Field(default=None, ge=0, le=100)
    ph: Ph | None = None
    alkalinity_mg_l_caco3: Alkalinity | None = None
    temperature_c: Celsius | None = None
    standing_hours: Number = Field(default=0.0, ge=0, le=1000)
    change: tuple[SourceChange, ...] = ()

    @property
    def cartridge_changed_s(self) -> float:
        """When the cartridge was changed [Unix s]; 0 where that is not known."""
        return 0.0 if self.cartridge_changed is None else _start_s(self.cartridge_changed)

    @field_validator("change", mode="before")
    @classmethod
    def _in_double_brackets(cls, rows: object) -> object:
        if isinstance(rows, dict):
            raise ValueError("write it as [[source.ID.change]], in double brackets, one for each")
        return rows

    @model_validator(mode="before")
    @classmethod
    def _filtered_water_holds_none(cls, table: object) -> object:
        if isinstance(table, dict) and table.get("kind") == "filtered":
            return {"residual_mg_l": 0.0, **table}
        return table

    @model_validator(mode="after")
    def _max_not_below_typical(self) -> "Source":
        if self.residual_max_mg_l is not None and self.residual_max_mg_l < self.residual_mg_l:
            raise ValueError(
                f"residual_max_mg_l {self.residual_max_mg_l:g} lies below "
                f"residual_mg_l {self.residual_mg_l:g}"
            )
        return self

    @model_validator(mode="after")
    def _keys_of_its_kind(self) -> "Source":
        alien = [key for key in _FILTER_KEYS if getattr(self, key) is not None]
        if self.kind != "filtered" and alien:
            raise ValueError(f'{alien[0]} belongs to a filter; add kind = "filtered"')
        if self.cartridge_litres is not None and self.cartridge_changed is None:
            raise ValueError(
                "cartridge_litres counts from the day of cartridge_changed; give that too"
            )
        if self.kind == "stored" and self.standing_hours <= 0.0:
            raise ValueError(
                "stored water has stood for a while; give standing_hours, the fewest it stands"
            )
        return self

    @model_validator(mode="after")
    def _days_in_order(self) -> "Source":
        days = [it.day for it in self.change]
        if days != sorted(set(days)):
            raise ValueError("its changes must stand in the order of their days, one for each")
        return self
