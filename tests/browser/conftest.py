"""A page of `metersim explore` in a real browser: headless Chromium, driven through its driver."""

import shutil
import subprocess
import sys
from contextlib import contextmanager

import pytest

from tests.browser.pages import Page

FLAGS = (
    "--headless=new",
    "--no-sandbox",  # as root, Chromium refuses its sandbox
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--force-device-scale-factor=1",
    # nothing but the page itself can be reached
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)


def missing():
    """Why no browser can be driven; empty where one can."""
    try:
        import selenium  # noqa: F401
    except ImportError:
        return "selenium is not installed: pip install '.[browser]'"
    for program in ("chromium", "chromedriver"):
        if not shutil.which(program):
            return f"{program} is not installed; Debian's packages are chromium and chromium-driver"
    return ""


def pytest_collection_modifyitems(items):
    """Mark what lies in this folder, and skip it with the reason where there is no browser."""
    reason = missing()
    for item in items:
        if "tests/browser/" in item.path.as_posix():
            item.add_marker(pytest.mark.browser)
            if reason:
                item.add_marker(pytest.mark.skip(reason=reason))


@contextmanager
def served(*words):
    """The address of a page that a process of its own serves, until the block ends."""
    command = [sys.executable, "-m", "metersim", "explore", *words, "--port", "0", "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            said = ""
            while "http://" not in said:
                said = process.stdout.readline()
                assert said, "the page ended before it said its address"
            yield next(word for word in said.split() if word.startswith("http://"))
        finally:
            process.terminate()


SHORT = "turns=20"  # in place of 300, so that many moves take little time


@pytest.fixture(scope="session")
def address():
    """Address of the page of the maize bench with fewer turns."""
    with served("maize_bench", "--set", SHORT) as found:
        yield found


@pytest.fixture(scope="session")
def saved(tmp_path_factory):
    """Folder that takes what a page saves."""
    return tmp_path_factory.mktemp("saved")


@pytest.fixture(scope="session")
def browser(tmp_path_factory, saved):
    """A browser of its own, without any earlier state."""
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium")
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.add_experimental_option("prefs", {"download.default_directory": str(saved)})
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    service = webdriver.ChromeService(shutil.which("chromedriver"))
    driver = webdriver.Chrome(options=options, service=service)
    yield driver
    driver.quit()


@pytest.fixture
def page(browser, address):
    """The page as it is opened; at the end, no script has complained."""
    browser.set_window_size(1280, 720)
    opened = Page(browser).open(address)
    yield opened
    assert opened.complaints() == []
    for handle in browser.window_handles[1:]:
        browser.switch_to.window(handle)
        browser.close()
    browser.switch_to.window(browser.window_handles[0])
