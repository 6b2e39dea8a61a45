"""One run of the growth bench: what the services took, and what became of the readings."""

import time
from contextlib import ExitStack
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from bench.growth_hub import Asker, Hub, Seen
from bench.growth_lines import ROUND
from bench.growth_room import Plan, Room, room
from bench.process_figures import Taken, own_share_mb, resident_mb
from servers import Broker, Victoria, wait_until

COMMAND_EVERY_S, _ANSWERED_S = 1.0, 3.0
_ASKED = 10  # tanks whose readings the database is asked for
_LATE_S = 0.5
_ON_THE_WAY_S = 10.0  # beyond the intervals at which readings are handed on: a busy machine
_AUTOSAVE_S = 1800  # mosquitto's own default
_QUEUE = "max_queued_messages 100000"  # by default 1000, beyond which a hub loses some unseen


@dataclass(frozen=True, slots=True)
class Followed:
    """What became of the replies of the window: delays [s] in order, and how many never came."""

    delays_s: list[float]
    lost: int


@dataclass(frozen=True, slots=True)
class Growth:
    """The findings of one run. `taken` over `lasted_s` [s], and memory [MB], by what took it."""

    plan: Plan
    ready_s: float
    lasted_s: float
    taken: dict[str, Taken]
    memory_mb: dict[str, float]
    largest_mb: float
    hub: Followed
    database: Followed
    answers_s: list[float]
    refused: int
    replies: int
    late: int
    missed: int
    messages_hz: float
    entities: int


def measured(
    plan: Plan,
    folder: Path,
    *,
    seconds: float,
    settling_s: float,
    watched: int = 0,
    on_the_way_s: float = _ON_THE_WAY_S,
) -> Growth:
    """Run it for `settling_s` and then `seconds` [s], with a refill announced at so many tanks that
    are `watched`. `folder` lies on a disk; `on_the_way_s`: beyond the plan's intervals, so long [s]
    a reading may take to be seen."""
    with ExitStack() as stack:
        broker = Broker(folder / "broker", autosave_s=_AUTOSAVE_S, more=_QUEUE)
        database = Victoria(folder / "database")
        stack.enter_context(broker)
        stack.enter_context(database)
        hub = stack.enter_context(Hub(broker.port))
        asker = Asker(database.port, plan.names[:: max(1, plan.tanks // _ASKED)][:_ASKED])
        it = stack.enter_context(room(plan, broker, database, folder))
        stack.enter_context(asker.asking())
        wait_until(lambda: len(hub.seen) == plan.tanks, "each tank is read", settling_s + 120)
        for tank in plan.names[:: plan.tanks // watched] if watched else ():
            hub.pour(tank)
        time.sleep(settling_s)
        return _window(it, plan, hub, asker, seconds, on_the_way_s)


def _window(
    it: Room, plan: Plan, hub: Hub, asker: Asker, seconds: float, on_the_way_s: float
) -> Growth:
    before, messages, begin_s = _taken(it), _told(hub), time.monotonic()
    time.sleep(seconds)
    after, told, end_s = _taken(it), _told(hub), time.monotonic()
    memory = {what: sum(map(own_share_mb, pids)) for what, pids in it.processes.items()}
    largest_mb = max(map(resident_mb, it.services))
    time.sleep(plan.commit_every_s + plan.write_every_s + on_the_way_s)
    _command(hub, plan, seconds / 3)
    replied = it.heads.replied_s()
    window = (begin_s, end_s)
    replies, late, missed = rhythm(replied, plan.every_s, window)
    return Growth(
        plan, it.ready_s, end_s - begin_s,
        {what: after[what].since(before[what]) for what in after}, memory, largest_mb,
        followed(replied, hub.seen, window),
        followed({tank: replied[tank] for tank in asker.tanks}, asker.seen, window),
        sorted(hub.answers_s), len(hub.refused), replies, late, missed,
        (told - messages) / (end_s - begin_s), len(hub.entities),
    )  # fmt: skip


def _command(hub: Hub, plan: Plan, seconds: float) -> None:
    for number in range(round(seconds / COMMAND_EVERY_S)):
        hub.command(plan.names[7 * number % plan.tanks])  # from service to service
        time.sleep(COMMAND_EVERY_S)
    time.sleep(_ANSWERED_S)


def _taken(it: Room) -> dict[str, Taken]:
    found = {}
    for what, pids in it.processes.items():
        found[what] = Taken()
        for pid in pids:
            found[what] = found[what].and_by(Taken.by(pid))
    return found


def _told(hub: Hub) -> int:
    return hub.messages.total()


def followed(replied: dict[str, list[float]], seen: Seen, window: tuple[float, float]) -> Followed:
    """Each reply of the window, by its count, to where it was seen first."""
    delays_s, lost = [], 0
    for tank, times in replied.items():
        for number, at_s in enumerate(times):
            if window[0] <= at_s < window[1]:
                came = [s for count, s in seen.get(tank, ()) if count == number % ROUND]
                later = [s - at_s for s in came if s >= at_s]
                delays_s += [min(later)] if later else []
                lost += not later
    return Followed(sorted(delays_s), lost)


def rhythm(
    replied: dict[str, list[float]], every_s: float, window: tuple[float, float]
) -> tuple[int, int, int]:
    """How many replies fell into the window, how many late, and how many did not come; each reply
    stands for all probes of its tank."""
    replies = late = missed = 0
    for times in replied.values():
        for before_s, at_s in pairwise(times):
            if window[0] <= at_s < window[1]:
                replies += 1
                late += at_s - before_s > every_s + _LATE_S
                missed += max(0, round((at_s - before_s) / every_s) - 1)
    return replies, late, missed
