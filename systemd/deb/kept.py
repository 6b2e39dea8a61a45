"""Compares two exports of a journal, each with what `now --learned --json` said: whether all that
the first tells, the second tells too.

    python3 kept.py FOLDER_BEFORE FOLDER_AFTER
"""

import json
import sys
from pathlib import Path

UNTAUGHT_MV = 80.0  # the middle of `b_mv` of a probe of which nothing was learnt
SAME = 0.15  # what is learnt is believed by drawn particles: the middle moves when they are drawn


def lines(folder: Path, name: str) -> list[str]:
    return (folder / name).read_text().splitlines()


def now(folder: Path) -> dict[str, object]:
    found: dict[str, object] = json.loads((folder / "now.json").read_text().splitlines()[0])
    return found


def learnt_mv(folder: Path) -> float:
    """The middle of what the probe's step is believed to be [mV]."""
    text = json.dumps(now(folder)["learned"])
    return float(json.loads(text)["traits"]["b_mv"][1])


def main(before: Path, after: Path) -> int:
    wrong = []
    for name in ("readings.csv", "events.jsonl"):
        old, new = lines(before, name), lines(after, name)
        lost = set(old) - set(new)
        print(f"{name}: {len(old)} rows before, {len(new)} after, lost {len(lost)}")
        wrong += sorted(lost)[:3]
    old_verdict, new_verdict = now(before)["verdict"], now(after)["verdict"]
    print(f"last refill: {json.dumps(new_verdict)}")
    if old_verdict != new_verdict or not new_verdict:
        wrong.append(f"the last refill was: {json.dumps(old_verdict)}")
    old_mv, new_mv = learnt_mv(before), learnt_mv(after)
    print(f"learnt of the probe: {old_mv:.0f} mV before, {new_mv:.0f} mV after")
    if abs(new_mv / old_mv - 1) > SAME or abs(new_mv / UNTAUGHT_MV - 1) < SAME / 2:
        wrong.append("what was learnt of the probe is another")
    print("\n".join(f"LOST: {it}" for it in wrong) or "nothing is lost")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(*map(Path, sys.argv[1:])))
