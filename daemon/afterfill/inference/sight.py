"""Whether the ORP can be used to look for oxidant, and if not, why, in a keeper's words."""

from dataclasses import dataclass, replace

MISSING_S = 300.0  # a carry-over rises in minutes: longer unseen is blind
SETTLING_S = 3 * 3600.0  # after work on a probe: 1.5-3 h to within noise on untouched probes
_STUCK_FINE_S, _STUCK_COARSE_S = 1200.0, 10_800.0
_FINE_MV = 0.5  # a probe that has shown smaller steps than this cannot stand still for long
_HANDLED_DROP_MV, _HANDLED_WITHIN_S = 60.0, 90.0  # water cannot do this; a hand can
_BACK_WITHIN_MV, _BACK_SETTLING_S = 15.0, 1200.0  # a probe that was in the air for minutes
_HANDLED = "the ORP probe was handled or out of the water"
_LEAPS = ((15.0, 40.0), (30.0, 75.0))  # s, mV: mixing and electrode take longer than that
_HANDLED_STEP_AFTER_GAP_MV, _GAP_S = 25.0, 600.0  # our judgement


@dataclass(frozen=True, slots=True)
class Sight:
    """What is remembered of the ORP channel. Times in s, potentials in mV. `before_mv`: the
    reading before the probe fell away, until it has come back; `exchanged_s`: when it last leapt
    to another level."""

    valid_s: float | None = None
    first_s: float | None = None
    value_mv: float = 0.0
    same_since_s: float = 0.0
    finest_mv: float = 1.0e9
    settling_until_s: float = 0.0
    settling_why: str = ""
    before_mv: float | None = None
    exchanged_s: float = 0.0


def seen(sight: Sight, orp_mv: float, time_s: float, level_mv: float | None = None) -> Sight:
    """After a valid reading, at a tank whose quiet level [mV] is known or not. A leap up from
    below that level is a probe coming back into the water; from the level, another probe."""
    if sight.valid_s is None:
        return replace(sight, valid_s=time_s, first_s=time_s, value_mv=orp_mv, same_since_s=time_s)
    moved = abs(orp_mv - sight.value_mv)
    if _fell_away(sight, orp_mv, time_s):
        before_mv = sight.value_mv if sight.before_mv is None else sight.before_mv
        sight = replace(unsettled(sight, time_s, _HANDLED), before_mv=before_mv)
    elif _leapt(sight, orp_mv, time_s):
        sight = unsettled(sight, time_s, _HANDLED)
        if level_mv is not None and sight.value_mv < level_mv - _BACK_WITHIN_MV:
            sight = replace(sight, settling_until_s=time_s + _BACK_SETTLING_S)
        else:
            sight = replace(sight, exchanged_s=time_s)
    elif _came_back(sight, orp_mv):
        soon_s = min(sight.settling_until_s, time_s + _BACK_SETTLING_S)
        sight = replace(sight, settling_until_s=soon_s, before_mv=None)
    same = moved == 0.0
    return replace(
        sight,
        valid_s=time_s,
        value_mv=orp_mv,
        same_since_s=sight.same_since_s if same else time_s,
        finest_mv=sight.finest_mv if same else min(sight.finest_mv, moved),
    )


def unsettled(sight: Sight, time_s: float, why: str) -> Sight:
    """After work on the probe: not to be used until it has settled."""
    return replace(sight, settling_until_s=time_s + SETTLING_S, settling_why=why)


def why_blind(sight: Sight, time_s: float) -> str | None:
    """The reason why the ORP cannot be used at `time_s`, or None when it can."""
    if sight.valid_s is None:
        return "no ORP reading yet"
    if time_s - sight.valid_s > MISSING_S:
        return f"no ORP reading for {(time_s - sight.valid_s) / 60.0:.0f} min"
    if time_s < sight.settling_until_s:
        return f"{sight.settling_why}; settling"
    if time_s - sight.same_since_s > _stuck_after_s(sight):
        return "the ORP reading stands still: stuck probe or frozen stream"
    return None


def _stuck_after_s(sight: Sight) -> float:
    return _STUCK_FINE_S if sight.finest_mv < _FINE_MV else _STUCK_COARSE_S


def is_another(before: Sight, after: Sight, time_s: float) -> bool:
    """Whether the level learnt so far no longer holds: another probe, or one that fell away and
    did not come back."""
    exchanged = after.exchanged_s > before.exchanged_s
    return exchanged or (after.before_mv is not None and time_s >= after.settling_until_s)


def _fell_away(sight: Sight, orp_mv: float, time_s: float) -> bool:
    gap_s = time_s - (sight.valid_s or time_s)
    return gap_s <= _HANDLED_WITHIN_S and sight.value_mv - orp_mv > _HANDLED_DROP_MV


def _leapt(sight: Sight, orp_mv: float, time_s: float) -> bool:
    if sight.before_mv is not None:  # on its way back into the water
        return False
    gap_s = time_s - (sight.valid_s or time_s)
    rise_mv = orp_mv - sight.value_mv
    if gap_s > _GAP_S:
        return abs(rise_mv) > _HANDLED_STEP_AFTER_GAP_MV
    return any(gap_s <= within_s and rise_mv > mv for within_s, mv in _LEAPS)


def _came_back(sight: Sight, orp_mv: float) -> bool:
    return sight.before_mv is not None and orp_mv >= sight.before_mv - _BACK_WITHIN_MV
