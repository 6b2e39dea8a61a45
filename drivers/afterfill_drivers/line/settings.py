"""What a [[probe]] table says to the line driver."""

import re
from typing import Literal, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from afterfill.ports import SETS_LINE


class LineSettings(BaseModel):
    """Keys of a probe that speaks in lines of text; the same `request` means a shared reply."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    baud: int = Field(default=9600, ge=50, le=4_000_000, json_schema_extra=SETS_LINE)
    parity: Literal["N", "E", "O"] = Field(default="N", json_schema_extra=SETS_LINE)
    stopbits: Literal[1, 2] = Field(default=1, json_schema_extra=SETS_LINE)
    request: str | None = Field(default=None, min_length=1, max_length=128)  # None: a stream
    terminator: str = Field(default="\r\n", min_length=1, max_length=4)
    pattern: str | None = Field(default=None, min_length=1, max_length=1000)
    column: int | None = Field(default=None, ge=1, le=64)  # the first is 1
    separator: str = Field(default=",", min_length=1, max_length=4)
    error_replies: tuple[str, ...] = Field(default=(), max_length=16)
    scale: float = 1.0  # times the number in the line
    settle_s: float = Field(default=0.0, ge=0, le=30)  # a measurement on demand takes its time
    timeout_s: float = Field(default=1.0, ge=0.01, le=30)
    max_line_bytes: int = Field(default=256, ge=8, le=4096)

    @field_validator("request", "terminator", "separator")
    @classmethod
    def _one_byte_each(cls, text: str | None) -> str | None:
        if text is not None and not all(ord(character) < 256 for character in text):
            raise ValueError("holds a character that is not one byte on the line")
        return text

    @field_validator("pattern", "error_replies")
    @classmethod
    def _expressions(cls, value: str | tuple[str, ...] | None) -> str | tuple[str, ...] | None:
        for expression in (value,) if isinstance(value, str) else value or ():
            try:
                re.compile(expression)
            except re.error as error:
                raise ValueError(f"'{expression}' is no regular expression: {error}") from error
        return value

    @model_validator(mode="after")
    def _one_way_to_find_the_number(self) -> Self:
        if self.pattern is not None and self.column is not None:
            raise ValueError("give pattern or column, not both")
        return self

    @property
    def line_keys(self) -> tuple[object, ...]:
        """What all probes on one port must say alike."""
        return (self.baud, self.parity, self.stopbits, self.terminator, self.request is None)

    @property
    def request_bytes(self) -> bytes:
        """The question as bytes; empty for a stream."""
        return (self.request or "").encode("latin-1")
