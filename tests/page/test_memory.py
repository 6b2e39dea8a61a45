"""What the page takes of a Pi's memory, beside a service that has the same libraries loaded."""

import http.client
from pathlib import Path

from page_room import page_room

MOST_MB = 35.0
_PATHS = ("/", "/tank/window/log", "/tank/window/history", "/tank/window/plan",
          "/tank/window/rescue", "/tank/window/report", "/tank/window/alarm/ph")  # fmt: skip


def unshared_mb(pid: int) -> float:
    """What ending the process would give back: its private pages, clean and dirty."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    kb = [int(line.split()[1]) for line in lines if line.startswith("Private_")]
    assert len(kb) >= 2
    return sum(kb) / 1024


def test_the_page_stays_small_while_it_is_used(tmp_path: Path) -> None:
    with page_room(tmp_path) as page:
        keeper = page.keeper()
        streams = []
        for _ in range(10):
            line = http.client.HTTPConnection("127.0.0.1", page.port, timeout=10)
            line.request("GET", "/live?tank=window", headers={"Cookie": keeper.cookie})
            line.getresponse().readline()
            streams.append(line)
        for _ in range(3):
            assert [keeper.ask(path).status for path in _PATHS] == [200] * len(_PATHS)
        found_mb = unshared_mb(page.process.pid)
        for line in streams:
            line.close()
    assert found_mb < MOST_MB, f"{found_mb:.1f} MB"
    print(f"\n{found_mb:.1f} MB unshared, ten listeners")
