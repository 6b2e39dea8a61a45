"""What a [[probe]] table says to the 1-wire driver."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class OnewireSettings(BaseModel):
    """Keys of a 1-wire temperature sensor; `port` is the folder of the bus."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    sensor: str = Field(pattern=r"^[0-9a-f]{2}-[0-9a-f]{12}$")  # family and serial number
    file: Literal["auto", "temperature", "w1_slave"] = "auto"
