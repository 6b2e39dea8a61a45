"""The console script. A service that is stopped while it still loads ends as one that ran."""

import signal
import sys
from types import FrameType


def main() -> None:
    """Be ready for SIGTERM, then load what is slow. `run` sets its own handler when it begins."""
    if sys.argv[1:2] == ["run"]:
        signal.signal(signal.SIGTERM, _ended)
    try:
        from afterfill.cli.main import main as command

        command()
    except KeyboardInterrupt:
        raise SystemExit(130) from None


def _ended(_number: int, _frame: FrameType | None) -> None:
    raise SystemExit(0)


if __name__ == "__main__":
    main()
