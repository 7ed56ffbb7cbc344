"""A real Chromium without a screen, which may ask nobody but this machine.

What it asked for, what it complained about and what the accessibility checker finds is
there to be looked at after every page.
"""

import base64
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pytest

if TYPE_CHECKING:
    from selenium.webdriver.chrome.webdriver import WebDriver

CHROMIUM: Final = shutil.which("chromium")
DRIVER: Final = shutil.which("chromedriver")
REQUIRED: Final = "GRAMWATT_BROWSER_TESTS"  # "required": nothing may be skipped
FLAGS: Final = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)
DESKTOP: Final = (1366, 900)
PHONE: Final = (390, 844)


class Browser:
    """One browser, one page at a time."""

    def __init__(self, driver: "WebDriver") -> None:
        self.driver = driver
        driver.execute_cdp_cmd("Network.enable", {})
        axe = resources.files("axe_core_python").joinpath("axe.min.js")
        # A newer one than the package's may be named.
        named = os.environ.get("GRAMWATT_AXE")
        self._axe = Path(named).read_text() if named else axe.read_text("utf-8")

    def set_screen(self, size: tuple[int, int], *, dark: bool = False) -> None:
        """How large the window is, and what the visitor prefers."""
        width, height = size
        self.driver.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {
                "width": width,
                "height": height,
                "deviceScaleFactor": 1,
                "mobile": width < 600,
            },
        )
        scheme = "dark" if dark else "light"
        feature = {"name": "prefers-color-scheme", "value": scheme}
        self.driver.execute_cdp_cmd(
            "Emulation.setEmulatedMedia", {"features": [feature]}
        )

    def open(self, url: str, ready: str = "return true") -> None:
        """Go to a page afresh, and wait until it is ready."""
        self.driver.get("about:blank")
        self.driver.get(url)
        self.wait(ready)

    def wait(self, ready: str) -> Any:
        """Until a script gives something true."""
        from selenium.webdriver.support.wait import WebDriverWait

        waiting = WebDriverWait(self.driver, 15, poll_frequency=0.02)
        return waiting.until(lambda driver: driver.execute_script(ready))

    def run(self, script: str, *arguments: Any) -> Any:
        """What a script in the page returns."""
        return self.driver.execute_script(script, *arguments)

    def texts(self, selector: str) -> list[str]:
        """The text of every element that a selector finds."""
        script = (
            "return [...document.querySelectorAll(arguments[0])].map(e=>e.innerText)"
        )
        found: list[str] = self.run(script, selector)
        return found

    def type(self, selector: str, text: str) -> None:
        """Type into a field in place of what is there."""
        from selenium.webdriver.common.by import By
        from selenium.webdriver.common.keys import Keys

        field = self.driver.find_element(By.CSS_SELECTOR, selector)
        field.send_keys(Keys.CONTROL, "a")
        field.send_keys(text or Keys.DELETE)

    def press(self, *keys: str) -> None:
        """Press keys, wherever the focus is."""
        from selenium.webdriver.common.action_chains import ActionChains

        ActionChains(self.driver, duration=0).send_keys(*keys).perform()

    def press_with(self, modifier: str, key: str) -> None:
        """Press a key while another is held."""
        from selenium.webdriver.common.action_chains import ActionChains

        chain = ActionChains(self.driver, duration=0)
        chain.key_down(modifier).send_keys(key).key_up(modifier).perform()

    def click(self, selector: str) -> None:
        """Click what a selector finds first."""
        from selenium.webdriver.common.by import By

        element = self.driver.find_element(By.CSS_SELECTOR, selector)
        self.run("arguments[0].scrollIntoView({block: 'center'})", element)
        element.click()

    def complaints(self) -> list[str]:
        """What the console said since it was asked last."""
        return [str(entry["message"]) for entry in self._log("browser")]

    def asked_for(self) -> list[str]:
        """Every address that was asked for since it was asked last."""
        found = []
        for entry in self._log("performance"):
            message = json.loads(entry["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                found.append(str(message["params"]["request"]["url"]))
        return found

    def _log(self, name: str) -> list[dict[str, Any]]:
        """Entries of a log since it was asked last."""
        found: list[dict[str, Any]]
        found = self.driver.get_log(name)  # type: ignore[no-untyped-call]
        return found

    def violations(self) -> list[str]:
        """What axe-core finds wrong with the page as it is."""
        self.driver.execute_cdp_cmd("Runtime.evaluate", {"expression": self._axe})
        # Past the page's policy, which forbids scripts like this one.
        result = self.driver.execute_async_script(
            "const done = arguments[arguments.length - 1];"
            "axe.run(document, {preload: false}).then(found => done(found.violations), "
            "fault => done([{id: String(fault), nodes: []}]));"
        )
        return [
            f"{one['id']}: {node['html'][:160]} {node.get('failureSummary', '')[:200]}"
            for one in result
            for node in (one["nodes"] or [{"html": ""}])
        ]

    def sideways(self) -> int:
        """How far the page can be scrolled sideways, in pixels."""
        found: int = self.run(
            "return document.documentElement.scrollWidth - window.innerWidth"
        )
        return found

    def picture(self, path: Path) -> None:
        """The whole page as a picture."""
        taken = self.driver.execute_cdp_cmd(
            "Page.captureScreenshot", {"captureBeyondViewport": True}
        )
        path.write_bytes(base64.b64decode(taken["data"]))


@contextmanager
def started() -> Iterator[Browser]:
    """A browser, as long as it is needed; skipped where there is none."""
    if CHROMIUM is None or DRIVER is None:
        if os.environ.get(REQUIRED) == "required":
            pytest.fail("chromium and chromedriver are not there")
        pytest.skip("chromium and chromedriver are not there")
    from selenium.webdriver import Chrome
    from selenium.webdriver.chrome.options import Options
    from selenium.webdriver.chrome.service import Service

    options = Options()
    options.binary_location = CHROMIUM
    for flag in FLAGS:
        options.add_argument(flag)
    options.set_capability(
        "goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"}
    )
    driver = Chrome(options=options, service=Service(DRIVER))
    try:
        yield Browser(driver)
    finally:
        driver.quit()
