"""What is to happen to one tank of the bench, and what its keeper says about it."""

from dataclasses import dataclass, field
from typing import Literal

from afterfill.config import Config
from afterfill.records import QUANTITIES, Event, Quantity, RefillMode
from afterfill.simulation.virtual_tank import Disturbance
from afterfill.simulation.virtual_water import TankHabits, WaterState

ZERO_S = 1_800_000_000.0  # Unix time of a story's begin
MG_CL2_PER_ML = 40.0

WaterLaw = Literal["mole for mole", "scheme"]
FaultKind = Literal[
    "handled",  # taken out and put back: falls by 100-300 mV and comes back within an hour or two
    "air",  # out of the water: shows anything
    "stuck",  # the ORP repeats one value
    "frozen",  # all channels repeat theirs
    "swapped",  # pH and temperature in each other's column
    "other tank",  # the ORP of another tank's probe
    "spikes",  # single readings far off; `size`: how many a day
    "drift",  # `size` mV a day for six hours
    "orp step",  # light or pump: `size` mV from begin to end
    "ph step",  # the pH probe's own step of `size`
    "temperature step",  # of `size` K
    "orp outage",  # ORP readings are invalid
    "all outage",  # nothing is heard
]
PROBE_FAULTS: tuple[FaultKind, ...] = (
    "handled", "air", "stuck", "frozen", "swapped", "other tank", "spikes", "drift", "ph step",
    "temperature step",
)  # fmt: skip


@dataclass(frozen=True)
class Fault:
    """Something that a probe or its line does, between two times [s] since the story's begin."""

    kind: FaultKind
    begin_s: float
    end_s: float
    size: float = 0.0

    def at(self, time_s: float) -> bool:
        """Whether it holds at `time_s`."""
        return self.begin_s <= time_s < self.end_s


@dataclass(frozen=True)
class Pouring:
    """Source water of `share` of the full volume. `through`: flows in and over the top; else it
    fills up what was drained or evaporated before. `ratio`: neutraliser over need
    (`need_mg_l` of the source), wherever put; `raw`: none of it anywhere; `tiny`: a top-off."""

    begin_s: float
    end_s: float
    share: float
    source: WaterState
    mode: RefillMode = "replace"
    through: bool = False
    announced: bool = True
    ratio: float = 0.0
    place: str = "bucket"
    raw: bool = False
    tiny: bool = False
    need_mg_l: float = 0.0

    def mixed_in(self, from_s: float, to_s: float) -> float:
        """The share of the water in the tank that is new after this interval."""
        span_s = self.end_s - self.begin_s
        overlap_s = min(self.end_s, to_s) - max(self.begin_s, from_s)
        if overlap_s <= 0.0:
            return 0.0
        added = self.share * overlap_s / span_s
        if self.through:
            return added
        done = self.share * min((to_s - self.begin_s) / span_s, 1.0)
        return added / max(1.0 - self.share + done, 1e-9)


@dataclass(frozen=True)
class Kit:
    """A test-kit reading: `wrong_zero` by interference, `wrong_mg_l` added by another."""

    at_s: float
    chlorine: bool = True
    ammonia: bool = False
    wrong_zero: bool = False
    wrong_mg_l: float = 0.0


@dataclass(frozen=True)
class Home:
    """What a real home differs in from the bench's usual tank: how its water decays, days that
    warm it by `warm_k` and CO2 that swings its pH (in `habits`), a source that is not as
    configured, probes that are not there, an ORP probe that loses the share `response_lost` of its
    response over the story. `pool_mg_l`, `quick_per_mg_h`: see Organics."""

    habits: TankHabits
    pool_mg_l: float
    quick_per_mg_h: float
    warm_k: float
    configured: str
    configured_mg_l: float
    probes: tuple[Quantity, ...] = QUANTITIES
    limit_mg_l: float = 0.02
    response_lost: float = 0.0


@dataclass
class Story:
    """Times in seconds since the story's begin, doses mg/L as Cl2 in the tank's volume."""

    seed: int
    hours: float
    every_s: float
    litres: float
    disinfectant: str
    tap_mg_l: float
    law: str
    water: WaterLaw = "mole for mole"
    mixing_s: float = 30.0
    pourings: list[Pouring] = field(default_factory=list)
    doses: list[tuple[float, float]] = field(default_factory=list)
    disturbances: list[Disturbance] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    kits: list[Kit] = field(default_factory=list)
    said: list[Event] = field(default_factory=list)
    troubles: list[tuple[str, float]] = field(default_factory=list)  # what, when [s]
    home: Home | None = None

    @property
    def days(self) -> float:
        """Its length."""
        return self.hours / 24.0


def config_of(story: Story) -> Config:
    """What the keeper of such a tank would have written."""
    return Config.model_validate(
        {
            "tank": {"t": {"litres": story.litres, "livestock": "warmwater", **_limits(story)}},
            "source": {"tap": _source(story)},
            "neutraliser": {"n": {"agent": "thiosulfate", "mg_cl2_per_ml": MG_CL2_PER_ML}},
            "probe": [
                {"tank": "t", "quantity": q, "driver": "line", "port": "/x",
                 "every_s": story.every_s}
                for q in (story.home.probes if story.home else QUANTITIES)
            ],
        }
    )  # fmt: skip


def _limits(story: Story) -> dict[str, object]:
    home = story.home
    return {} if home is None else {"limits": {"residual_oxidant_mg_l": home.limit_mg_l}}


def _source(story: Story) -> dict[str, object]:
    """Of a home only what its keeper once read of the tap."""
    home = story.home
    if home is not None:
        return {"disinfectant": home.configured, "residual_mg_l": round(home.configured_mg_l, 2)}
    return {
        "disinfectant": story.disinfectant,
        "residual_mg_l": round(story.tap_mg_l, 1),
        "residual_max_mg_l": round(1.5 * story.tap_mg_l + 0.1, 1),
    }
