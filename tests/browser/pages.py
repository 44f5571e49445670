"""What tests do with a page: open it, move a setting, and wait for what the page shows of it."""

from contextlib import contextmanager

SOON = 20  # s; a page answers in a tenth of that on an idle machine

PAINTED = "return performance.getEntriesByName('redraw').length"
NAMES = """
const named = (one) => one.getAttribute('aria-label') || one.labels?.[0]?.textContent ||
  one.textContent.trim() ||
  document.getElementById(one.getAttribute('aria-labelledby'))?.textContent;
return [...document.querySelectorAll('button, input, select, canvas, svg, summary, a')]
  .filter((one) => !named(one)).map((one) => one.outerHTML);
"""


class Page:
    """A page in a browser.

    Parameters
    ----------
    driver : WebDriver
        The browser.
    """

    def __init__(self, driver):
        self.driver = driver
        self.js = driver.execute_script

    def open(self, address):
        """Load a page without anything that it remembers, and wait for its first answer."""
        self.driver.get(address + "/page.css")
        self.js("sessionStorage.clear()")
        self.driver.get(address)
        self.wait(self.is_begun)
        return self

    def is_begun(self):
        """Whether the page says what a run found; before the first one it says that it waits."""
        return self.words("headline") and "being worked out" not in self.words("headline")

    def wait(self, true, what="what was asked for"):
        """Wait until something is true."""
        from selenium.common.exceptions import StaleElementReferenceException
        from selenium.webdriver.support.ui import WebDriverWait

        passing = (StaleElementReferenceException,)  # the page is being built anew
        waiting = WebDriverWait(self.driver, SOON, 0.02, passing)
        return waiting.until(lambda _: true(), f"no {what} yet")

    def at(self, chosen):
        """The element of a selector."""
        return self.driver.find_element("css selector", chosen)

    def every(self, chosen):
        """All elements of a selector."""
        return self.driver.find_elements("css selector", chosen)

    def click(self, chosen):
        """Bring an element to the middle of the screen, and click it."""
        self.js("arguments[0].scrollIntoView({block: 'center'})", self.at(chosen))
        self.at(chosen).click()

    def words(self, number):
        """Text of the element of an id, shown or not."""
        return self.js(
            "return document.getElementById(arguments[0]).textContent.trim()", number
        ).replace("\N{NO-BREAK SPACE}", " ")

    def setting(self, key):
        """The control of a setting, unfolded and on the screen."""
        root = self.at(f".setting[data-key='{key}']")
        self.js(
            "for (let one = arguments[0]; one; one = one.parentElement)"
            " if (one.tagName === 'DETAILS') one.open = true;"
            "arguments[0].scrollIntoView({block: 'center'})",
            root,
        )
        return root

    def field(self, key):
        """The field of a setting."""
        return self.setting(key).find_element("css selector", f"#set-{key.replace('.', '-')}")

    def type(self, key, value):
        """Type a value into the field of a setting, as a person does."""
        field = self.field(key)
        field.click()
        field.send_keys("\ue009a\ue000" + value + "\ue007")  # control and a, then enter

    def press(self, key, name):
        """Press the button of a setting whose name has a word."""
        root = self.setting(key)
        for button in root.find_elements("css selector", "button"):
            if name in (button.get_attribute("aria-label") or ""):
                return button.click()
        raise AssertionError(f"{key} has no button {name}")

    @contextmanager
    def answered(self):
        """Wait at the end for the picture of what the block moved, or for a fault."""
        before = self.js(PAINTED)
        yield
        self.wait(
            lambda: self.js(PAINTED) > before or self.every(".wrong") or self.words("trouble"),
            "picture of a move",
        )

    def settled(self):
        """Wait for all draws, and give the headline."""
        self.wait(lambda: not self.words("draws"), "end of the draws")
        return self.words("headline")

    def complaints(self):
        """Errors and warnings of scripts since the last call, but for refused requests."""
        return [
            line["message"]
            for line in self.driver.get_log("browser")
            if "status of 400" not in line["message"]
        ]

    def width(self):
        """Width of what the page holds, and of what the window shows."""
        root = "document.documentElement"
        return self.js(f"return [{root}.scrollWidth, {root}.clientWidth]")
