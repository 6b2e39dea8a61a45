"""How far one refill may move a tank, as keepers commonly advise; no number is published."""

TEMPERATURE_STEP_C = 2.0
PH_STEP = 0.3
SOURCE = "common practice, no source"
