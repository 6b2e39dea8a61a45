"""What a [[probe]] table says to the Modbus driver."""

from typing import Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from afterfill.ports import SETS_LINE

NumberType = Literal["int16", "uint16", "int32", "uint32", "float32"]
Order = Literal["big", "little"]


class ModbusSettings(BaseModel):
    """Keys of a probe read by Modbus RTU or TCP; several devices may share the port."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    device: int = Field(ge=0, le=255)  # on a line 1 to 247; over TCP 0 and 255 mean the peer
    register_: int = Field(
        alias="register", ge=0, le=65535
    )  # as sent, from 0; pydantic holds the bare name
    function: Literal[3, 4] = 3
    type: NumberType = "int16"
    word_order: Order = "big"
    byte_order: Order = "big"
    scale: float = 1.0  # times the number in the registers
    baud: int = Field(default=9600, ge=50, le=4_000_000, json_schema_extra=SETS_LINE)
    # the norm says E; most probes leave the factory with N
    parity: Literal["N", "E", "O"] = Field(default="N", json_schema_extra=SETS_LINE)
    stopbits: Literal[1, 2] = Field(default=1, json_schema_extra=SETS_LINE)
    timeout_s: float = Field(default=0.5, ge=0.01, le=30)

    @model_validator(mode="after")
    def _inside_the_table(self) -> Self:
        if self.register_ + self.words > 65536:
            raise ValueError("a 32-bit number needs two registers, and 65535 is the last one")
        return self

    @property
    def words(self) -> int:
        """How many registers the number takes."""
        return 1 if self.type.endswith("16") else 2

    @property
    def line_keys(self) -> tuple[object, ...]:
        """What all probes on one port must say alike."""
        return (self.baud, self.parity, self.stopbits)
