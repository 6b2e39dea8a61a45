"""How far one refill may move a tank, as keepers commonly advise; nobody has published a number."""

TEMPERATURE_STEP_C = 2.0
PH_STEP = 0.3
SOURCE = "common practice, no source"
