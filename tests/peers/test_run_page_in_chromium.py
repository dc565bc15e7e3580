"""The page of a run in a real browser: nothing is asked for, values and verdicts are found by mouse and keys."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from campaign.failing_run import failing_page, failing_run

playwright = pytest.importorskip("playwright.sync_api", reason="needs Playwright: make test-peers")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
pytestmark = [
    pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium; on Debian: apt install chromium"),
    pytest.mark.filterwarnings("default"),
]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        root = ["--no-sandbox"] if os.geteuid() == 0 else []
        browser = started.chromium.launch(executable_path=CHROMIUM, args=root)
        yield browser
        browser.close()


class Opened:
    """A page, with all that it asked for and complained of."""

    def __init__(self, browser: Any, file: Path, **how: Any) -> None:
        self.asked: list[str] = []
        self.said: list[str] = []
        self.page = browser.new_context(offline=True, **how).new_page()
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.goto(file.as_uri())

    def value(self, label: str) -> str:
        row = self.page.locator("#list tr", has=self.page.get_by_role("rowheader", name=label, exact=True))
        text: str = row.locator("td").inner_text()
        return text

    def readout(self) -> str:
        text: str = self.page.locator("#readout").inner_text()
        return text

    def range(self) -> str:
        self.page.evaluate("new Promise(requestAnimationFrame)")
        text: str = self.page.locator("#range").inner_text()
        return text


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("pages") / "late.html"
    file.write_text(failing_page(), encoding="utf-8")
    return file


@pytest.fixture
def opened(browser: Any, file: Path) -> Iterator[Opened]:
    opened = Opened(browser, file, viewport={"width": 1300, "height": 900})
    yield opened
    assert opened.said == []
    assert opened.asked == [file.as_uri()]
    opened.page.context.close()


def recorded(name: str, at_ms: int) -> int:
    outcome, _ = failing_run()
    assert outcome.recording is not None
    for piece in outcome.recording.pieces():
        k = (at_ms - piece.first_ms) // outcome.recording.scan_ms
        if 0 <= k < piece.columns.scans:
            return int(piece.columns.this(name)[k])
    raise AssertionError(at_ms)


def test_it_opens_without_a_request_and_says_what_failed(opened: Opened) -> None:
    assert opened.page.title() == 'failed: Nothing </script><b> may end the page early & "so on"'
    assert opened.page.locator("#failed h2").inner_text() == "Failed: 3 of 4"
    assert opened.page.locator("#lanes svg").count() >= 6


def test_a_jump_to_a_failure_shows_its_moment_and_its_values(opened: Opened) -> None:
    opened.page.get_by_role("button", name="show 4.00 s").click()
    assert opened.readout() == "4.00 s, held"
    assert opened.page.url.endswith("#t=4000")
    from_s, to_s = (float(word) for word in opened.range().replace(" s", "").split(" to "))
    assert from_s < 4.0 < to_s < 9.0
    steps = [step.name for step in _steps()]
    assert opened.value("step") == steps[recorded("step", 4_000)]
    line = opened.page.locator("#cursor").bounding_box()
    lanes = opened.page.locator("#lanes").bounding_box()
    assert lanes["x"] < line["x"] < lanes["x"] + lanes["width"]


def _steps() -> list[Any]:
    from controller.sequence.steps import Step

    return list(Step)


def test_the_cursor_follows_the_pointer_and_shows_values_with_units(opened: Opened) -> None:
    opened.page.locator("#lanes").focus()
    opened.page.keyboard.press("Escape")
    box = opened.page.locator("#lanes svg").first.bounding_box()
    for share in (0.5, 0.7, 0.95):
        opened.page.mouse.move(box["x"] + box["width"] * share, box["y"] + 20)
        at_ms = round(float(opened.readout().removesuffix(" s")) * 1_000)
        if not 9_000 < at_ms < 10_010:
            supply_bar = recorded("supply_pa_g", at_ms) / 100_000
            assert float(opened.value("supply air").removesuffix(" bar gauge")) == pytest.approx(
                supply_bar, abs=0.02
            )
            assert opened.value("step") == _steps()[recorded("step", at_ms)].name


def test_without_power_there_are_no_values(opened: Opened) -> None:
    opened.page.goto(opened.page.url + "#t=9500")
    opened.page.reload()
    opened.asked = opened.asked[:1]
    assert opened.readout() == "9.50 s, held"
    assert opened.value("step") == "no power"


def test_keys_move_the_cursor_zoom_and_find_steps_and_failures(opened: Opened) -> None:
    whole = opened.range()
    opened.page.locator("#lanes").focus()
    opened.page.keyboard.press("Home")
    opened.page.keyboard.press("ArrowRight")
    first = opened.readout()
    opened.page.keyboard.press("Shift+ArrowRight")
    assert first != opened.readout()
    opened.page.keyboard.press("Home")
    opened.page.keyboard.press("n")
    opened.page.keyboard.press("n")
    assert opened.value("step") == "WARNING"
    opened.page.keyboard.press("+")
    assert opened.range() != whole
    opened.page.keyboard.press("0")
    assert opened.range() == whole
    opened.page.keyboard.press("f")
    assert opened.readout() == "1.02 s, held"  # the next that failed: LEVEL_HIGH acted


def test_wheel_and_drag_zoom(opened: Opened) -> None:
    whole = opened.range()
    box = opened.page.locator("#axis").bounding_box()
    middle = box["x"] + box["width"] * 0.6
    opened.page.mouse.move(middle, box["y"] + 8)
    opened.page.mouse.wheel(0, -300)
    closer = opened.range()
    assert closer != whole
    opened.page.keyboard.press("0")
    opened.page.mouse.move(middle, box["y"] + 80)
    opened.page.mouse.down()
    opened.page.mouse.move(middle + 200, box["y"] + 80, steps=4)
    opened.page.mouse.up()
    assert opened.range() not in (whole, closer)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1300])
def test_no_page_is_wider_than_its_window(browser: Any, file: Path, width: int, scheme: str) -> None:
    opened = Opened(browser, file, viewport={"width": width, "height": 800}, color_scheme=scheme)
    assert opened.page.evaluate("document.scrollingElement.scrollWidth") <= width
    paper = opened.page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert paper == {"light": "rgb(255, 255, 255)", "dark": "rgb(21, 24, 28)"}[scheme]
    assert opened.said == []
    opened.page.context.close()


def test_on_paper_it_is_light_and_without_buttons(browser: Any, file: Path) -> None:
    opened = Opened(browser, file, color_scheme="dark")
    opened.page.emulate_media(media="print", color_scheme="dark")
    assert opened.page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert not opened.page.get_by_role("button", name="whole run").is_visible()
    assert len(opened.page.pdf()) > 10_000
    opened.page.context.close()
