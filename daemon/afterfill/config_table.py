"""What every table of the configuration has in common: strict keys, and no secrets."""

from typing import ClassVar

from pydantic import BaseModel, ConfigDict, model_validator

from afterfill.shown import holds_secret

_A_FILE = "a file of its own, which a key such as token_file or password_file names"


def no_secret(table: object, belongs: str = _A_FILE) -> object:
    """Refuses a password or token inside an address, without saying it again: what stands in the
    configuration is shown in logs, health and exports."""
    for key, value in table.items() if isinstance(table, dict) else ():
        if not isinstance(value, str):
            continue
        if key.endswith("_file") and "://" in value:
            raise ValueError(f"'{key}' names a file; write the address into that file")
        if holds_secret(value):
            raise ValueError(
                f"'{key}' holds a password or token, which would be shown in logs and exports; "
                f"leave it out there and write it into {belongs}"
            )
    return table


class Table(BaseModel):
    """A table that knows all its keys."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    _secrets_belong: ClassVar[str] = _A_FILE

    @model_validator(mode="before")
    @classmethod
    def _holds_no_secret(cls, table: object) -> object:
        return no_secret(table, cls._secrets_belong)
