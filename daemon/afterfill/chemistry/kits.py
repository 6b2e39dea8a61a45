"""What the figure of a hobby test kit is worth."""

from math import sqrt

from afterfill.chemistry.constants import Coefficients
from afterfill.chemistry.standing import Interval

# A colorimeter maker's handbook, its page on the DPD method (read); organic chloramines "may".
DPD_INTERFERES = (
    "DPD also turns pink from oxidised manganese, chlorine dioxide, bromine, iodine and ozone, and "
    "may from organic chloramines; alkalinity over 250 mg/L mutes or bleaches the colour"
)
# A keepers' page of questions and answers on Nessler kits (read); salicylate is from memory.
BINDERS_SPOIL_TESTS = (
    "a neutraliser that binds ammonia spoils Nessler tests, which then show far too much or too "
    "little, and a salicylate test may count what is bound as ammonia (from memory)"
)
Z95 = 1.645  # standard deviations of a normal belief to its 95 % point


def kit_sd(kit: Coefficients, mg_l: float) -> float:
    """Standard deviation [mg/L] of what `kit` (constants.DPD_KIT, AMMONIA_KIT) shows as `mg_l`.

    >>> from afterfill.chemistry.constants import DPD_KIT
    >>> round(kit_sd(DPD_KIT, 0.5), 4)
    0.1044
    """
    floor_mg_l, share = kit.values
    return sqrt(floor_mg_l**2 + (share * mg_l) ** 2)


def by_kit(kit: Coefficients, mg_l: float) -> Interval:
    """What is believed [mg/L, never below 0] when `kit` shows `mg_l`.

    >>> from afterfill.chemistry.constants import DPD_KIT
    >>> by_kit(DPD_KIT, 0.0)
    Interval(low=0.0, middle=0.0, high=0.04935)
    """
    deviation = Z95 * kit_sd(kit, mg_l)
    return Interval(max(0.0, mg_l - deviation), mg_l, mg_l + deviation)
