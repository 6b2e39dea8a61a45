"""The demo's story: a window tank, its keeper, and an automated top-off that ran dry.

All of it is invented. Times are seconds since the first midnight.
"""

from dataclasses import dataclass
from pathlib import Path

from afterfill.chemistry.stoichiometry import MG_CL2_PER_MG_N
from afterfill.records import Dose, Event, KitResult, Refill, Service
from afterfill.simulation.virtual_probe import VirtualOrpProbe
from afterfill.simulation.virtual_tank import Disturbance, Inflow, VirtualTank
from afterfill.simulation.virtual_water import TankHabits, WaterState

TANK = "window"
LITRES = 120.0
TAP_MG_L = 1.9
MG_CL2_PER_ML = 40.0
BEGIN_S = 1_772_323_200.0  # 2026-03-01T00:00:00Z, so that every run has the same times
HOUR_S, DAY_S = 3600.0, 86400.0
START_S = 3 * DAY_S  # what came before is not played
CHANGE_S = 5 * DAY_S + 11 * HOUR_S
TOP_OFF_S = 7 * DAY_S + 6 * HOUR_S + 600.0
END_S = TOP_OFF_S + 3.5 * HOUR_S
QUIET_EVERY_S, CLOSE_EVERY_S = 240.0, 20.0
_CLOSE_BEFORE_S, _CLOSE_AFTER_S = 1200.0, 2.5 * HOUR_S


def configuration(orp_port: Path, bus_port: Path) -> str:
    """The demo's configuration file, with its probes on these two serial lines."""
    return f"""\
# The demo's tank. Everything in it is invented.
[tank.{TANK}]
litres = {LITRES:g}
livestock = "warmwater"
top_off = "told"
alkalinity_mg_l_caco3 = 90

[source.kitchen]
disinfectant = "chloramine"
residual_mg_l = {TAP_MG_L}
residual_max_mg_l = 3.0
chlorine_to_nitrogen = 4.5
temperature_c = 15

[neutraliser.bottle]
agent = "thiosulfate"
label = {{ ml = 5, litres = 200, mg_l = 1.0 }}

[[probe]]
tank = "{TANK}"
quantity = "orp"
driver = "line"
port = "{orp_port}"
every_s = 240
request = "R\\r"
terminator = "\\r\\n"
pattern = 'ORP=(?P<orp>-?[\\d.]+);PH=[\\d.]+;T=-?[\\d.]+'
reference = "Ag/AgCl 3 M KCl"

[[probe]]
tank = "{TANK}"
quantity = "ph"
driver = "modbus"
port = "{bus_port}"
every_s = 240
device = 1
baud = 115200
register = 1
type = "uint16"
scale = 0.01

[[probe]]
tank = "{TANK}"
quantity = "temperature"
driver = "modbus"
port = "{bus_port}"
every_s = 240
device = 1
baud = 115200
register = 2
type = "int16"
scale = 0.01

[journal]
path = "afterfill.db"
commit_every_s = 300  # of the demo's own, fast time
"""


@dataclass(frozen=True, slots=True)
class Scene:
    """Something that people or automation say at `time_s`, with a line for the viewer; `dose_ml`
    of neutraliser really goes into the tank."""

    time_s: float
    line: str
    event: Event | None = None
    dose_ml: float = 0.0


def tap_water(neutraliser_mg_l: float) -> WaterState:
    """The kitchen tap, with this much neutraliser in each litre [mg/L as Cl2]."""
    left = max(TAP_MG_L - neutraliser_mg_l, 0.0)
    released = (TAP_MG_L - left) / MG_CL2_PER_MG_N
    return WaterState(
        combined=left,
        neutraliser=max(neutraliser_mg_l - TAP_MG_L, 0.0),
        ammonia=released + TAP_MG_L * (1 / 4.5 - 1 / MG_CL2_PER_MG_N),
        temperature_c=15.0,
        ph=7.9,
    )


def demo_tank(seed: int) -> VirtualTank:
    """The tank with all that will happen to it, but for what the keeper does about an alarm."""
    tank = VirtualTank(TankHabits(), VirtualOrpProbe(seed))
    treated, raw = tap_water(3.0 * MG_CL2_PER_ML / 30.0), tap_water(0.0)
    tank.inflows = [
        Inflow(CHANGE_S, CHANGE_S + 720.0, 30.0 / LITRES, treated),
        Inflow(TOP_OFF_S, TOP_OFF_S + 540.0, 20.0 / LITRES, raw),
    ]
    for day in range(8):
        tank.disturbances += [
            Disturbance(day * DAY_S + 8.0 * HOUR_S, 5.0 + 1.5 * (day % 3)),
            Disturbance(day * DAY_S + 18.5 * HOUR_S, 6.0 - 1.0 * (day % 2)),
        ]
    tank.disturbances.append(Disturbance(3 * DAY_S + 10 * HOUR_S, 17.0))
    return tank


def scenes() -> list[Scene]:
    """What is said before any alarm."""
    cleaning_s = START_S + 10 * HOUR_S
    return [
        Scene(
            cleaning_s,
            "the keeper cleans the glass and says so",
            Service(BEGIN_S + cleaning_s, TANK, "cleaning"),
        ),
        Scene(
            CHANGE_S,
            "water change: 30 L out, 30 L in, 3 mL of neutraliser in the bucket",
            Refill(BEGIN_S + CHANGE_S, TANK, "replace", 30.0, 12.0, 3.0, "kitchen"),
        ),
        Scene(
            TOP_OFF_S,
            "top-off by automation: 20 L, and its doser reports 2 mL (the bottle is empty)",
            Refill(BEGIN_S + TOP_OFF_S, TANK, "add", 20.0, 9.0, 2.0, "kitchen"),
        ),
    ]


def rescue_scenes(alarm_s: float, dose_ml: float) -> list[Scene]:
    """What the keeper does about an alarm that came at `alarm_s` [s]."""
    dose_s, test_s = alarm_s + 1500.0, alarm_s + 3 * HOUR_S
    return [
        Scene(
            dose_s,
            f"the keeper stops the top-off, doses {dose_ml:.1f} mL into the tank, aerates",
            Dose(BEGIN_S + dose_s, TANK, dose_ml),
            dose_ml,
        ),
        Scene(
            test_s,
            "a DPD test of the tank: total chlorine 0.0 mg/L",
            KitResult(BEGIN_S + test_s, TANK, total_chlorine_mg_l=0.0),
        ),
    ]


def every_s_at(time_s: float) -> float:
    """How often the demo reads at `time_s`: closely around refills, to keep the week short."""
    for refill_s in (CHANGE_S, TOP_OFF_S):
        if refill_s - _CLOSE_BEFORE_S <= time_s < refill_s + _CLOSE_AFTER_S:
            return CLOSE_EVERY_S
    return QUIET_EVERY_S
