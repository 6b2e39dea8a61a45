"""What a page is asked for: each page, each change, and a refill as its form sends it."""

from afterfill.page.forms import TOLD_KINDS
from page_room import Asker

PAGES = (
    "/", "/tank/window", "/tank/window/log", "/tank/window/alarm/residual-oxidant",
    "/tank/window/plan", "/tank/window/rescue", "/tank/window/history", "/tank/window/report",
    "/tank/window/months",
)  # fmt: skip
CHANGES = (
    *(f"/tank/window/log/{kind}" for kind in TOLD_KINDS),
    "/tank/window/alarm/cannot-see/acknowledge",
    "/tank/window/alarm/cannot-see/shelve", "/logout",
)  # fmt: skip
OPEN = ("/login", "/page.css", "/page.js", "/icon.svg")
HOSTILE = '"><img src=x onerror=alert(1)><script>alert(2)</script>'
REFILL = {"litres": "25", "litres.unit": "L", "mode": "replace"}


def refill_of(keeper: Asker) -> dict[str, str]:
    return {**REFILL, "ticket": keeper.ticket("/tank/window/log", ".refill")}
