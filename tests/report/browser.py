"""A real browser without a window, and what can be wrong with a page that it shows.

Each check gives findings (sentences), none where all is well, so that a broken twin of a page can be held to the same.
"""

from __future__ import annotations

import base64
import json
import re
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from selenium import webdriver
from selenium.common.exceptions import TimeoutException
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.support.ui import WebDriverWait

__all__ = [
    "at_width",
    "becomes",
    "clipped",
    "complains",
    "complaints",
    "drive",
    "fetched",
    "found",
    "on_paper",
    "on_screen",
    "opened",
    "printed_sheets",
    "unseen_pictures",
]

_FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync", "--hide-scrollbars"),
    "--disable-dev-shm-usage",  # where little of that is given, a large page would end the browser
)
_PATIENCE = 20.0  # s
_A4 = 703  # px between margins of 12 mm

# Words that reach out of what shows them. What may be scrolled to on a screen is not lost; on paper it is. Elements
# that are there for the ear alone are left out by their size.
_CLIPPED = """
const paper = matchMedia("print").matches, wide = document.documentElement.clientWidth, found = [];
if (document.documentElement.scrollWidth > wide + 1)
  found.push(`the page is ${document.documentElement.scrollWidth} px wide, the window ${wide}`);
const said = (e) => `${e.tagName.toLowerCase()} '${e.textContent.trim().slice(0, 40)}'`;
for (const e of document.body.querySelectorAll("*")) {
  const box = e.getBoundingClientRect(), style = getComputedStyle(e);
  if (box.width <= 1 || box.height <= 1 || e.closest("svg, script, style")) continue;
  if (box.right <= 0) continue;
  const scrolls = !paper && ["auto", "scroll"].includes(style.overflowX);
  if (!scrolls && e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0 && style.display !== "inline")
    found.push(`${said(e)}: ${e.scrollWidth} px in ${e.clientWidth}`);
  if (style.overflowY === "hidden" && e.scrollHeight > e.clientHeight + 1)
    found.push(`${said(e)}: ${e.scrollHeight} px high in ${e.clientHeight}`);
  let reachable = false;
  for (let up = e.parentElement; up; up = up.parentElement)
    if (!paper && ["auto", "scroll"].includes(getComputedStyle(up).overflowX)) reachable = true;
  if (!reachable && (box.right > wide + 1 || box.left < -1))
    found.push(`${said(e)}: from ${Math.round(box.left)} to ${Math.round(box.right)} px of ${wide}`);
}
return found;
"""
_UNSEEN = """
const found = [];
for (const e of document.images) {
  const box = e.getBoundingClientRect();
  if (!e.complete || e.naturalWidth < 50) found.push(`'${e.alt}' is not loaded`);
  else if (!e.checkVisibility() || box.width < 100 || box.height < 50) found.push(`'${e.alt}' is not shown`);
  if (!e.alt) found.push("a picture without words");
}
return found;
"""


@contextmanager
def drive(profile: Path) -> Iterator[Any]:
    """A headless Chromium with a new profile; ended with the context."""
    options = Options()
    options.binary_location = shutil.which("chromium") or ""
    for flag in (*_FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options, Service(shutil.which("chromedriver")))
    try:
        yield driver
    finally:
        driver.quit()


def opened(driver: Any, path: Path) -> None:
    """Show a page; what was logged of earlier ones is forgotten."""
    for log in ("browser", "performance"):
        driver.get_log(log)
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    driver.get(path.as_uri())


def at_width(driver: Any, width: int, height: int = 900) -> None:
    """Show the page as wide as this many px."""
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    _settle(driver)


def on_paper(driver: Any) -> None:
    """Show the page as it is printed on A4."""
    at_width(driver, _A4)
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    _settle(driver)


def printed_sheets(driver: Any) -> int:
    """How many sheets of paper the page takes when it is printed as it stands on the screen."""
    written = driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    return len(re.findall(rb"/Type /Page\b", base64.b64decode(written["data"])))


def on_screen(driver: Any) -> None:
    """Show the page as on a screen again."""
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    _settle(driver)


def _settle(driver: Any) -> None:
    """Wait until the page is drawn anew: what follows from a new width or medium is told to it with a frame."""
    frames = "const done = arguments[0]; requestAnimationFrame(() => requestAnimationFrame(() => done()))"
    driver.execute_async_script(frames)


def becomes(driver: Any, script: str) -> bool:
    """Whether what a script returns comes to be true: events of a page follow what is done to it when they can."""
    try:
        return bool(WebDriverWait(driver, _PATIENCE, 0.02).until(lambda shown: shown.execute_script(script)))
    except TimeoutException:
        return False


def found(driver: Any, script: str) -> list[str]:
    """What a script finds, each finding once."""
    return list(dict.fromkeys(driver.execute_script(script)))


def clipped(driver: Any) -> list[str]:
    """Words and pictures that reach out of the page or of what holds them."""
    return found(driver, _CLIPPED)


def unseen_pictures(driver: Any) -> list[str]:
    """Pictures that are not loaded or not shown, or that say nothing to those who cannot see."""
    return found(driver, _UNSEEN)


def complaints(driver: Any) -> list[str]:
    """What the browser's console says of the page."""
    return [
        entry["message"] for entry in driver.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")
    ]


def complains(driver: Any, words: str) -> bool:
    """Whether the browser's console comes to say some words of the page: its log comes late at times."""
    ends = time.monotonic() + _PATIENCE
    while time.monotonic() < ends:
        if any(words in said for said in complaints(driver)):
            return True
        time.sleep(0.02)
    return False


def fetched(driver: Any) -> list[str]:
    """Addresses that the page asked for beside itself until it was loaded, but for those that hold their data
    themselves. The browser's log comes late at times: it is read until it tells of the load."""
    here, messages, ends = driver.current_url, [], time.monotonic() + _PATIENCE
    while not _loaded(messages, here):
        assert time.monotonic() < ends, f"nothing was logged of the load of {here}"
        time.sleep(0.02)
        messages += [json.loads(entry["message"])["message"] for entry in driver.get_log("performance")]
    asked = [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]
    return [url for url in asked if not url.startswith("data:") and url != here]


def _loaded(messages: list[dict[str, Any]], address: str) -> bool:
    """Whether messages tell of a page's load, from its request on."""
    begun = False
    for message in messages:
        if message["method"] == "Network.requestWillBeSent":
            begun |= message["params"]["request"]["url"] == address
        elif begun and message["method"] == "Page.loadEventFired":
            return True
    return False
