"""What is believed before a tank and its probe have been met: every figure with its reason.

Values are medians with the standard deviation of the logarithm, or means with a standard
deviation. They are wide on purpose: no table from millivolts to mg/L is defensible, because two
like probes differ by up to 218 mV in the same water (James, Copeland & Lytle 2004, AWWA Water
Quality Technology Conference; abstract, read).
"""

from math import log

from afterfill.chemistry.constants import COMBINED_LOSS_PER_DAY, DPD_KIT, FREE_STANDING_HOURS

# --- the ORP electrode: E = E_bg + b log10(1 + C_eff / C0), a mixed potential ------------------
B_MV, B_SIGMA = 80.0, 0.25  # mV per decade; 30-120 in use
C0_MG_L, C0_SIGMA = 0.025, 1.15  # where it turns from linear to logarithmic; 0.003-0.1; unsourced
W_OCL, W_OCL_SD = 0.4, 0.2  # share of HOCl's effect that hypochlorite has; unsourced
W_COMBINED, W_COMBINED_SIGMA = 0.25, 0.8  # chloramine counts several times less; unsourced
FAINT, FAINT_ANSWER = 0.1, 0.3  # electrodes that hardly answer chloramine, and how far: judgement
PH_SLOPE_MV, PH_SLOPE_SD = -25.0, 12.0  # mV per pH unit at constant oxidant; -6 to -59 published
RISE_MIN, RISE_SIGMA = 3.0, 0.6  # min; mixing of the tank and the electrode together
FALL_MIN, FALL_SIGMA = 45.0, 1.0  # min; oxide memory: slow to come down; makers' notes, secondary
DIP_MV, DIP_SIGMA = 25.0, 0.7  # how far 0.5 mg/L of surplus neutraliser pulls down; from memory

# --- the water ---------------------------------------------------------------------------------
# Free chlorine: 0.1-20 per h. Bottle tests 0.008-0.16 (Powell 2000, secondary); half of it within
# 15 min in raw water (US EPA 2001, secondary); a stocked tank eats more: our judgement.
K_FREE_PER_H, K_FREE_SIGMA = 1.5, 1.6
# Combined: 5-95 % 0.004-0.7 per h. Open vessels 0.003 (Garcia & Anderson 2018, abstract), pipes
# with old biofilm 0.2-0.4 (Odimayomi 2026, abstract); a stocked tank lies between, and may be
# beyond the pipes: our judgement.
K_COMBINED_PER_H, K_COMBINED_SIGMA = 0.05, 1.6
K_SURPLUS_PER_H = 0.3  # neutraliser used up by air and bacteria; our judgement
NEUTRALISED_MIN = 3.0  # min for combined chlorine to meet a surplus; free chlorine meets it at once
STANDING_FREE_PER_H = log(2.0) / FREE_STANDING_HOURS.values[1]
STANDING_COMBINED_PER_H = COMBINED_LOSS_PER_DAY["open"].values[0] / 24.0
# Of one tap's chlorine, at least: neighbouring houses differ by 0.15 mg/L (open data of an English
# utility, secondary), one works by 1.4 times within a year (a US utility's table, read).
TAP_SIGMA = 0.35
RAW_MG_L, RAW_SIGMA = 1.0, 0.7  # behind a filter: US taps 0.6 free, 1.5 combined (Appl. Environ.
# Microbiol. 85:e01942-19, 2019, table 3, read)
BREAKTHROUGH = 0.05  # that a filter lets the raw water through: our judgement, no source
TAN_MG_L, TAN_SIGMA = 0.03, 1.3  # total ammonia of a tank whose filter works: below what kits show

# Replaced daily, also where no top-off is logged: open tanks lose 0.5-2 % a day (common practice,
# no source). Half of those who do not tell use raw water, half of all tell nothing: our judgement.
EVAPORATED, EVAPORATED_SIGMA = 0.012, 0.6
UNTOLD = 0.25
# --- what people pour --------------------------------------------------------------------------
FRACTION, FRACTION_SIGMA = 0.12, 0.9  # when the volume is not known; common practice 0.1-0.3
MINUTES, MINUTES_SIGMA = 8.0, 0.6
START_SD_MIN = 1.5  # how well people and relays know when it began
LITRES_SIGMA = 0.1  # a bucket is known to a tenth
STRENGTH_SIGMA = 0.15  # strength of a neutraliser, and the dosing of it
SHORT_WHEN_DOSED = 0.03  # said to be dosed, and was not: our judgement
SHORT_WHEN_UNKNOWN = 0.2  # the dose was not logged: our judgement
SHORT_WHEN_SAID_NONE = 0.99

BEFOREHAND_OF_SHORT = 0.03  # of those who put none into the water: they dosed the tank; judgement
BEFOREHAND_WHEN_SUSPECTED = 0.005  # our judgement
BEFOREHAND_SIGMA = 0.5  # a dose for half or twice the tank's volume; our judgement

# --- what else moves the ORP -------------------------------------------------------------------
DISTURBED_MV = 35.0  # at most, our judgement; feeding, light and cleaning show as 5-30 mV
BY_HAND_SHARE, BY_HAND_MV = 0.08, 25.0  # the probe itself is moved; our judgement
BY_HAND_RISE_MIN, BY_HAND_RISE_SIGMA, AT_ONCE_S = 0.4, 0.4, 60.0  # our judgement
NUISANCE_MV = 3.0  # what a refill itself does to a probe besides chemistry: flow, pump, light
NUISANCE_RISE_MIN, NUISANCE_RISE_SIGMA = 6.0, 0.8
NUISANCE_FALL_MIN, NUISANCE_FALL_SIGMA = 90.0, 0.8
STEADY, STEADY_WHEN_DISTURBED = 0.0002, 0.04  # few have a lamp or ozone, and most tell; judgement
STEADY_WHEN_TOLD = 3.0  # beside all others together: three in four; our judgement
STEADY_MV, STEADY_SIGMA, STEADY_MOST_MV = 40.0, 0.6, 200.0  # over the quiet level; our judgement
STEADY_RISE_MIN, STEADY_RISE_SIGMA = 20.0, 0.9  # a lamp's shadow of ozone builds up; our judgement
STEADY_FALL_H, STEADY_FALL_SIGMA = 12.0, 0.6  # it lasts for hours; our judgement
WET_MV, WET_MIN, WET_SIGMA = 25.0, 25.0, 0.5  # below its level after the air: judgement
DISTURBANCE, DISTURBANCE_WHEN_DISTURBED = 0.15, 0.3  # feeding and other work go with a refill
SUSPECTED = {"disturbance": 0.76, "dosed": 0.12, "short": 0.12}  # behind a sudden move: judgement
SUSPECTED_WHEN_DISTURBED = {"disturbance": 0.96, "dosed": 0.02, "short": 0.02}

# --- noise of an untouched probe (untouched process probes, 234 days at 1 min, public data) -----
NOISE_MV = 1.0  # standard deviation between neighbouring readings, until learnt
WANDER_MV_PER_SQRT_H = (
    2.5  # slow wandering: 1.15 mV over 65 min in poised water; a tank is less poised: judgement
)
MODEL_ERROR = 0.2
MODEL_ERROR_MV = 1.0
TAIL_NU = 4.0  # degrees of freedom of Student's t: spikes must not decide
CORRELATED_S = 180.0  # readings nearer together than this tell little that is new
EARLY_S, CORRELATED_GROWTH = 1200.0, 0.6  # later, s of it more for each s since the pour
LAW_SIGMA = (
    0.3  # of a residual read from the law, beyond what its members differ: it is only a shape
)
TRACE_MV, TRACE_NOISES = 6.0, 3.0  # a step that passes for quiet: what is smaller is not excluded

STEP_OUTLIERS = 0.05  # of steps of temperature and pH that no water made: our judgement

# --- chlorine test kits --------------------------------------------------------------------------
KIT_FLOOR_MG_L, KIT_SHARE = DPD_KIT.values
KIT_LOW_SHARE = 0.05  # reads less than is there: reagent old, colour bleached; our judgement
KIT_HIGH_SHARE, KIT_HIGH_MG_L = (
    0.02,
    1.0,
)  # reads what is no chlorine (oxidised manganese): judgement
