"""What a [[probe]] table says to the MQTT driver."""

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

Unit = Literal["C", "F", "mV", "V"]
Path = str | tuple[str | int, ...]


def _one_topic(topic: str) -> str:
    if not topic or len(topic) > 1000 or any(c in "#+\0" for c in topic):
        raise ValueError("name one topic, without # and +")
    return topic


def _way(path: Path) -> Path:
    if not path or (isinstance(path, str) and not all(path.split("."))):
        raise ValueError("is no path: write 'value.ph', or a list such as ['value', 'ph', 0]")
    return path


Topic = Annotated[str, AfterValidator(_one_topic)]
JsonPath = Annotated[Path, AfterValidator(_way)]


class MqttSettings(BaseModel):
    """Keys of a probe whose readings another device publishes on the broker of [mqtt]."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    topic: Topic
    path: JsonPath | None = None  # None: the message is the number
    unit: Unit | None = None  # None: the quantity's own
    max_age_s: float = Field(default=90.0, ge=1, le=3600)  # one message a minute may be missed
    counter: JsonPath | None = None  # what differs with each measurement
    availability_topic: Topic | None = None
    available: str = Field(default="online", max_length=256)  # whatever else is said: not there
