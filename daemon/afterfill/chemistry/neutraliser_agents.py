"""What is known of each neutralising agent: reactions, practice, waiting, side effects."""

from dataclasses import dataclass
from typing import Literal

from afterfill.chemistry.constants import CACO3, CL2, Status

Agent = Literal["thiosulfate", "sulfite", "metabisulfite", "ascorbate", "other"]
AGENTS: tuple[Agent, ...] = ("thiosulfate", "sulfite", "metabisulfite", "ascorbate", "other")

_MG_CACO3_PER_PROTON = CACO3.value / 2.0 / CL2.value  # per mg Cl2


@dataclass(frozen=True, slots=True)
class Route:
    """One balanced reaction of one form of an agent: mg of it per mg of chlorine as Cl2, and the
    protons it releases per HOCl and per NH2Cl (negative: it takes them up)."""

    form: str
    products: str
    mg_per_mg_cl2: float
    protons_free: float
    protons_combined: float
    source: str
    status: Status

    @property
    def alkalinity_used_free(self) -> float:
        """mg CaCO3 per mg Cl2 of free chlorine."""
        return self.protons_free * _MG_CACO3_PER_PROTON

    @property
    def alkalinity_used_combined(self) -> float:
        """mg CaCO3 per mg Cl2 of combined chlorine."""
        return self.protons_combined * _MG_CACO3_PER_PROTON


@dataclass(frozen=True, slots=True)
class Behaviour:
    """What else an agent does.

    `minutes_free` and `minutes_combined` (low, high): how long until free and combined chlorine are
    gone with enough of it; None: not to be counted on. `oxygen`: how it scavenges when over-dosed.
    `strength_sigma`: relative uncertainty of what a mL removes.
    """

    minutes_free: tuple[float, float]
    minutes_combined: tuple[float, float] | None
    oxygen: Literal["strong", "weak", "none", "unknown"]
    strength_sigma: float
    source: str
    status: Status


_BALANCED = "own balanced reaction and molar masses; acid counted for the products at pH 7-8"
_PENTAHYDRATE = "sodium thiosulfate pentahydrate"
_HORVATH = (
    f"{_BALANCED}; which route: tetrathionate reacts on with HOCl in an hour only (Horvath & "
    "Nagypal 2000, Int. J. Chem. Kinet. 32:395, abstract read)"
)

ROUTES: dict[str, tuple[Route, ...]] = {  # the safe route first
    "thiosulfate": (
        Route(_PENTAHYDRATE, "tetrathionate", 7.0004, -1.0, -2.0, _HORVATH, "computed"),
        Route(_PENTAHYDRATE, "sulfate and sulfur", 3.5002, 1.0, 0.0, _BALANCED, "computed"),
        Route(_PENTAHYDRATE, "sulfate", 0.8750, 1.5, 0.5, _BALANCED, "computed"),
    ),
    "sulfite": (Route("sodium sulfite", "sulfate", 1.7776, 1.0, 0.0, _BALANCED, "computed"),),
    "metabisulfite": (
        Route("sodium metabisulfite", "sulfate", 1.3406, 2.0, 1.0, _BALANCED, "computed"),
    ),
    "ascorbate": (
        Route("sodium ascorbate", "dehydroascorbate", 2.7939, 0.0, -1.0, _BALANCED, "computed"),
        Route("ascorbic acid", "dehydroascorbate", 2.4839, 1.0, 0.0, _BALANCED, "computed"),
    ),
}


BEHAVIOURS: dict[str, Behaviour] = {
    "thiosulfate": Behaviour(
        (0.1, 2.0),
        (1.0, 10.0),
        "weak",
        0.15,
        "free: half gone in under a millisecond (after Hu, Xie & Stanbury 2017, Inorg. Chem., "
        "abstract read), so mixing sets the time; combined: no rate found, own judgement",
        "common practice",
    ),
    "sulfite": Behaviour(
        (0.1, 2.0),
        (0.5, 5.0),
        "strong",
        0.20,
        "free: nothing left in 5 s (Water Supply 2021, 21(5):2313, abstract read); combined: acid "
        "assisted, slower at high pH (Yiin & Margerum 1990, Inorg. Chem. 29:1942, abstract read), "
        "time is own judgement; solutions age in air",
        "common practice",
    ),
    "metabisulfite": Behaviour(
        (0.1, 2.0),
        (0.5, 5.0),
        "strong",
        0.20,
        "becomes bisulfite in water: as sulfite; solutions age in air",
        "common practice",
    ),
    "ascorbate": Behaviour(
        (0.1, 2.0),
        None,
        "none",
        0.20,
        "free: nothing left in 5 s (Water Supply 2021, 21(5):2313, abstract read); combined: "
        "'ineffective for the removal of monochloramine' (Basu & De Souza 2011, J. Water Supply "
        "Res. T.-Aqua 60:167-177, abstract read); other practice relies on it: uncertain",
        "read",
    ),
    "other": Behaviour(
        (0.1, 5.0),
        (1.0, 15.0),
        "unknown",
        0.30,
        "a product of unknown make: the label is all there is; own judgement",
        "common practice",
    ),
}
