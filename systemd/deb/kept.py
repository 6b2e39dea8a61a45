"""Compares two exports of a journal, each with what `now --learned --json` said: whether all that
the first tells, the second tells too.

    python3 kept.py FOLDER_BEFORE FOLDER_AFTER
"""

import json
import sys
from pathlib import Path

UNTAUGHT = 26  # how wide `c0_mg_l` is (95 % over 5 %) for a probe of which nothing was learnt
SAME = 0.35  # what is learnt is believed by drawn particles: it moves when they are drawn again


def lines(folder: Path, name: str) -> list[str]:
    return (folder / name).read_text().splitlines()


def now(folder: Path) -> dict[str, object]:
    found: dict[str, object] = json.loads((folder / "now.json").read_text().splitlines()[0])
    return found


def learnt_width(folder: Path) -> float:
    """How wide the concentration is believed to be at which the probe begins to answer: its 95 %
    over its 5 %. Teaching makes it narrower."""
    text = json.dumps(now(folder)["learned"])
    low, _, high = json.loads(text)["traits"]["c0_mg_l"]
    return float(high / low)


def lost(old: list[str], new: list[str]) -> list[str]:
    """Rows of `old` that are not in `new`; a newer version may say more in a row of JSON."""
    missing = sorted(set(old) - set(new))
    fuller = [json.loads(row).items() for row in new if row.startswith("{")]
    return [
        row
        for row in missing
        if not (row.startswith("{") and any(json.loads(row).items() <= it for it in fuller))
    ]


def main(before: Path, after: Path) -> int:
    wrong = []
    for name in ("readings.csv", "events.jsonl"):
        old, new = lines(before, name), lines(after, name)
        gone = lost(old, new)
        print(f"{name}: {len(old)} rows before, {len(new)} after, lost {len(gone)}")
        wrong += gone[:3]
    verdict = json.dumps(now(before)["verdict"])  # by now a later refill may have one too
    print(f"last refill by then: {verdict}")
    if verdict == "null" or lost([verdict], lines(after, "verdicts.jsonl")):
        wrong.append(f"the verdict {verdict}")
    was, is_now = learnt_width(before), learnt_width(after)
    print(f"learnt of the probe: {was:.1f} wide before, {is_now:.1f} after, untaught {UNTAUGHT}")
    if abs(is_now / was - 1) > SAME or is_now > UNTAUGHT / 1.5:
        wrong.append("what was learnt of the probe is another")
    print("\n".join(f"LOST: {it}" for it in wrong) or "nothing is lost")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(*map(Path, sys.argv[1:])))
