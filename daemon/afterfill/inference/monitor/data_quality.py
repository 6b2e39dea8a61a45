"""Whether the ORP can be used to look for oxidant, and if not, why, in a keeper's words."""

from typing import NamedTuple

MISSING_S = 300.0  # a carry-over rises in minutes: longer unseen is blind
SETTLING_S = 3 * 3600.0  # after work on a probe: 1.5-3 h to within noise on untouched probes
_STUCK_FINE_S, _STUCK_COARSE_S = 1200.0, 10_800.0
_FINE_MV = 0.5  # a probe that has shown smaller steps than this cannot stand still for long
_HANDLED_DROP_MV, _HANDLED_WITHIN_S = 60.0, 90.0  # water cannot do this; a hand can
_BACK_WITHIN_MV, _BACK_SETTLING_S = 15.0, 120.0  # a probe that was in the air for minutes
_HANDLED = "the ORP probe was handled or out of the water"
_STEPS = ((35.0, 20.0), (70.0, 30.0))  # s, mV: sudden enough to ask whether it stands still
_STANDS_S, _STANDS_MV, _STANDS_SHARE = 60.0, 3.0, 0.1  # water would go on rising for minutes
_EXCHANGED_SETTLING_S = 3600.0
_FELL_MV = 30.0  # more than any surplus of neutraliser does
_TURN_NOISES, _TURN_MV = 5.0, 2.0  # a move beyond noise; water moves the ORP one way for minutes
_TURNS, _TURNS_FADE_S = 3.0, 600.0
_RESTLESS_S, _RESTLESS_SHARE, _RESTLESS_LONGEST_S = 240.0, 0.4, 1200.0  # our judgement
_RESTLESS = "the ORP wanders to and fro as no water makes it: probe in the air or bad contact"
_WET_S = 1800.0  # how long a surface that was dry shows it; our judgement
_HANDLED_STEP_AFTER_GAP_MV, _GAP_S = 25.0, 600.0  # our judgement


class Sight(NamedTuple):
    """What is remembered of the ORP channel. Times in s, potentials in mV. `before_mv`: the
    reading before the probe fell away, until it has come back; `exchanged_s`: when it last leapt
    to another level; `step_s`, `step_mv`, `stepped_to_mv`: a sudden step that may be no water,
    when it came, its height and where it led; `way`, `turns`: the sign of the last move beyond
    noise, and how often it changed lately; `restless_s`: since when it has."""

    valid_s: float | None = None
    first_s: float | None = None
    value_mv: float = 0.0
    same_since_s: float = 0.0
    finest_mv: float = 1.0e9
    settling_until_s: float = 0.0
    settling_why: str = ""
    before_mv: float | None = None
    exchanged_s: float = 0.0
    step_s: float | None = None
    step_mv: float = 0.0
    stepped_to_mv: float = 0.0
    way: float = 0.0
    turns: float = 0.0
    restless_s: float = 0.0


def seen(
    sight: Sight, orp_mv: float, time_s: float, level_mv: float | None = None, noise_mv: float = 1.0
) -> Sight:
    """After a valid reading, at a tank whose quiet level [mV] is known or not. A leap up from
    below that level is a probe coming back into the water; from the level, another probe."""
    if sight.valid_s is None:
        return sight._replace(valid_s=time_s, first_s=time_s, value_mv=orp_mv, same_since_s=time_s)
    moved_mv = orp_mv - sight.value_mv
    gap_s = time_s - sight.valid_s
    sight = _turned(_by_hand(sight, orp_mv, time_s, level_mv), moved_mv, gap_s, time_s, noise_mv)
    same = moved_mv == 0.0
    return sight._replace(
        valid_s=time_s,
        value_mv=orp_mv,
        same_since_s=sight.same_since_s if same else time_s,
        finest_mv=sight.finest_mv if same else min(sight.finest_mv, abs(moved_mv)),
    )


def _by_hand(sight: Sight, orp_mv: float, time_s: float, level_mv: float | None) -> Sight:
    """What this reading says of hands on the probe; the first case that holds decides."""
    moved_mv, gap_s = orp_mv - sight.value_mv, time_s - (sight.valid_s or time_s)
    below = level_mv is not None and sight.value_mv < level_mv - _BACK_WITHIN_MV
    if sight.before_mv is not None:  # away: only its coming back matters
        return _back(sight, time_s) if orp_mv >= sight.before_mv - _BACK_WITHIN_MV else sight
    if _spike_is_over(sight, orp_mv):
        return sight._replace(step_s=None)
    if gap_s <= _HANDLED_WITHIN_S and moved_mv < -_HANDLED_DROP_MV:
        return _away(sight, sight.value_mv, time_s)
    if gap_s > _GAP_S and abs(moved_mv) > _HANDLED_STEP_AFTER_GAP_MV:
        return _placed(sight, time_s, below, SETTLING_S)
    sudden = any(gap_s <= within_s and moved_mv > mv for within_s, mv in _STEPS)
    if sudden and below:
        return _placed(sight, time_s, True, SETTLING_S)
    if _stands(sight, orp_mv) and time_s - (sight.step_s or 0.0) >= _STANDS_S:
        return _stood(sight, time_s, level_mv)
    if sudden or (gap_s <= _HANDLED_WITHIN_S and moved_mv < -_FELL_MV):
        return sight._replace(step_s=time_s, step_mv=moved_mv, stepped_to_mv=orp_mv)
    return sight if sight.step_s is None or _stands(sight, orp_mv) else sight._replace(step_s=None)


def _away(sight: Sight, before_mv: float, time_s: float) -> Sight:
    """The probe fell away from `before_mv` [mV]."""
    return unsettled(sight, time_s, _HANDLED)._replace(before_mv=before_mv, step_s=None)


def _placed(sight: Sight, time_s: float, back: bool, settling_s: float) -> Sight:
    """A probe put into water: back into its own, or another one."""
    sight = unsettled(sight, time_s, _HANDLED)._replace(step_s=None)
    if back:
        return sight._replace(settling_until_s=time_s + _BACK_SETTLING_S)
    return sight._replace(exchanged_s=time_s, settling_until_s=time_s + settling_s)


def _stands(sight: Sight, orp_mv: float) -> bool:
    """Whether the ORP is still where its sudden step led."""
    off_mv = abs(orp_mv - sight.stepped_to_mv)
    within_mv = max(_STANDS_MV, _STANDS_SHARE * abs(sight.step_mv))
    return sight.step_s is not None and off_mv <= within_mv


def _spike_is_over(sight: Sight, orp_mv: float) -> bool:
    """Whether a sudden rise under suspicion has gone back to where it came from."""
    from_mv = sight.stepped_to_mv - sight.step_mv
    return sight.step_s is not None and abs(orp_mv - from_mv) <= _BACK_WITHIN_MV


def _back(sight: Sight, time_s: float) -> Sight:
    """A probe that is back at its level: at once when it was one reading that fell away."""
    away_s = time_s - (sight.settling_until_s - SETTLING_S)
    if away_s <= _HANDLED_WITHIN_S:
        return sight._replace(settling_until_s=time_s, settling_why="", before_mv=None)
    soon_s = min(sight.settling_until_s, time_s + _BACK_SETTLING_S)
    return sight._replace(settling_until_s=soon_s, before_mv=None)


def _stood(sight: Sight, time_s: float, level_mv: float | None) -> Sight:
    """A sudden step that stands still: down, the probe is away; up, it is back or another one."""
    if sight.step_mv < 0.0:
        return _away(sight, sight.stepped_to_mv - sight.step_mv, time_s)
    back = level_mv is not None and sight.stepped_to_mv < level_mv + _BACK_WITHIN_MV
    return _placed(sight, time_s, back, _EXCHANGED_SETTLING_S)


def _turned(sight: Sight, move_mv: float, gap_s: float, time_s: float, noise_mv: float) -> Sight:
    """Counts moves beyond noise that go against the one before; the count fades."""
    turns = sight.turns * max(1.0 - gap_s / _TURNS_FADE_S, 0.0)
    if abs(move_mv) <= max(_TURN_MV, _TURN_NOISES * noise_mv):
        return sight if sight.turns == turns else sight._replace(turns=turns)
    way = 1.0 if move_mv > 0 else -1.0
    turned = way == -sight.way
    turns += 1.0 if turned else 0.0
    sight = sight._replace(way=way, turns=turns)
    if not turned or turns < _TURNS:
        return sight
    lately = sight.settling_why in (_RESTLESS, _HANDLED) and sight.restless_s > 0.0
    again = lately and time_s < sight.settling_until_s + _TURNS_FADE_S
    return _restless(sight if again else sight._replace(restless_s=time_s), time_s)


def _restless(sight: Sight, time_s: float) -> Sight:
    """Not to be used for a while, which is the longer the longer it has wandered: in the air it
    stands still for minutes now and then."""
    wait_s = _RESTLESS_SHARE * (time_s - sight.restless_s)
    wait_s = min(max(wait_s, _RESTLESS_S), _RESTLESS_LONGEST_S)
    if sight.settling_until_s > time_s + wait_s:
        return sight
    return sight._replace(settling_until_s=time_s + wait_s, settling_why=_RESTLESS)


def unsettled(sight: Sight, time_s: float, why: str) -> Sight:
    """After work on the probe: not to be used until it has settled."""
    return sight._replace(settling_until_s=time_s + SETTLING_S, settling_why=why)


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


def has_gone_wild(before: Sight, after: Sight, time_s: float) -> bool:
    """Whether this reading showed that the probe is out of the water or in a hand."""
    return after.settling_until_s > time_s >= before.settling_until_s


def back_s(sight: Sight, time_s: float) -> float | None:
    """When the probe came back into the water [s], if it did so lately: its surface is then
    still on its way to its level."""
    settled_s = sight.settling_until_s
    another = settled_s - sight.exchanged_s <= SETTLING_S or sight.before_mv is not None
    if another or sight.settling_why not in (_RESTLESS, _HANDLED):
        return None
    return settled_s - _BACK_SETTLING_S if 0.0 <= time_s - settled_s < _WET_S else None


def is_settled(before: Sight, time_s: float, last_s: float) -> bool:
    """Whether the time in which the ORP could not be used is over since `last_s` [s]."""
    return last_s < before.settling_until_s <= time_s


def _stuck_after_s(sight: Sight) -> float:
    return _STUCK_FINE_S if sight.finest_mv < _FINE_MV else _STUCK_COARSE_S


def is_another(before: Sight, after: Sight, time_s: float) -> bool:
    """Whether the level learnt so far no longer holds: another probe, or one that fell away and
    did not come back."""
    exchanged = after.exchanged_s > before.exchanged_s
    return exchanged or (after.before_mv is not None and time_s >= after.settling_until_s)
