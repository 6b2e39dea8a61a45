"""Asks the page in a root that a package is tried in, as a phone would: logs in, reads the tank."""

import http.cookiejar
import sys
import time
import urllib.error
import urllib.parse
import urllib.request

PAGE = "http://127.0.0.1:8420"
TRIES = 120


def reached(browser: urllib.request.OpenerDirector) -> None:
    for _ in range(TRIES):
        try:
            browser.open(PAGE + "/login", timeout=60)
            return
        except urllib.error.URLError:
            time.sleep(1)
    sys.exit("the page does not answer")


jar = http.cookiejar.CookieJar()
browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
reached(browser)
form = urllib.parse.urlencode({"password": "correct horse battery"}).encode()
request = urllib.request.Request(PAGE + "/login", form, {"Origin": PAGE})
shown = browser.open(request, timeout=60).read().decode()
shown += browser.open(PAGE + "/tank/window", timeout=60).read().decode()
if "window" not in shown or 'type="password"' in shown:
    sys.exit(f"the page does not show the tank:\n{shown}")
print(f"page: logged in, shows the tank ({len(shown)} characters)")
