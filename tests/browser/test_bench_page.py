"""The bench as a hand at a phone meets it, in a real browser."""

from __future__ import annotations

import http.server
import threading
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import pytest

from tests.browser.conftest import LiveBench

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

Opened = Callable[..., "Page"]
SIZES = ((390, 844), (360, 740), (800, 1280), (1280, 800))
THEMES = ("light", "dark")


def keys(page: Page, sheet: str, *pressed: str) -> None:
    for key in pressed:
        page.click(f"{sheet} [data-key='{key}']")


def read_drift(page: Page, *digits: str, side: str = "-") -> None:
    page.click("#more-reading")
    page.click("#sheet-read label:has-text('drift')")
    keys(page, "#sheet-read", *digits)
    page.click(f"#sheet-read [data-side='{side}']")


def test_a_link_lets_a_device_in_once_and_leaves_no_trace(browser: Browser, live: LiveBench) -> None:
    token = live.pairing.link_token()
    for number, arrives in enumerate((True, False)):
        context = browser.new_context()
        page = context.new_page()
        page.goto(f"{live.url}/pair#t={token}")
        if arrives:
            page.wait_for_url(f"{live.url}/")
            (cookie,) = context.cookies()
            assert cookie["httpOnly"]
            assert cookie["sameSite"] == "Strict"
            assert page.evaluate("document.cookie") == ""
        else:
            page.wait_for_selector("text=This link did not work.")
        assert token not in page.url, number
        context.close()


def test_a_device_is_let_in_by_the_code(browser: Browser, live: LiveBench) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.goto(live.url)
    page.wait_for_url(f"{live.url}/pair")
    page.fill("#name", "Ada's phone")
    page.fill("#code", f"{live.code[:4]} {live.code[4:]}")
    page.click("text=Let it in")
    page.wait_for_url(f"{live.url}/")
    page.goto(f"{live.url}/devices")
    assert "Ada's phone, this one" in page.inner_text("main")
    context.close()


def test_a_reading_is_typed_read_back_and_saved(opened: Opened, live: LiveBench) -> None:
    page = opened()
    read_drift(page, "9", "7", ",", "5")
    page.wait_for_selector("#echo >> text=97.5 mm right")
    assert "3.839 in right" in page.inner_text("#echo")
    page.click("#repeat")
    keys(page, "#sheet-read", "9", "5", ".", "5")
    page.wait_for_selector("#echo >> text=2 readings: mean 96.5 mm right")
    page.click("#save-reading")
    page.wait_for_selector(".last >> text=drift 97.5 mm right, 95.5 mm right")
    assert live.words()[-1] == "reading (-0.0975, -0.0955)" or "-0.0975" in live.words()[-1]
    page.wait_for_selector("#bar-text >> text=Saved at")
    before = len(live.words())
    page.wait_for_timeout(600)
    page.click(".last [data-undo]")
    page.click("text=The wrong side or unit")
    page.wait_for_selector(".last >> text=undo: The wrong side or unit")
    assert len(live.words()) == before + 1


def test_a_side_must_be_said_and_what_is_unlikely_is_asked_once(opened: Opened, live: LiveBench) -> None:
    page = opened()
    count = len(live.words())
    page.click("#more-reading")
    page.click("#sheet-read label:has-text('drift')")
    keys(page, "#sheet-read", "9", "0")
    page.wait_for_selector("#echo >> text=Say which way: left or right.")
    page.click("#save-reading")
    assert page.is_visible("#sheet-read")
    page.click("#sheet-read [data-side='+']")
    page.wait_for_selector("#echo >> text=It may be written to the wrong side.")
    page.click("#save-reading")
    assert page.inner_text("#save-reading") == "Save it all the same"
    assert len(live.words()) == count
    page.click("#save-reading")
    page.wait_for_selector(".last >> text=drift 90.0 mm left")


def test_a_step_is_done_as_asked_by_one_tap(opened: Opened, live: LiveBench) -> None:
    page = opened()
    asked = page.get_attribute("#as-asked", "data-verb")
    assert asked == "did", page.inner_text(".do")
    page.click("#as-asked")
    page.wait_for_selector("#bar-text >> text=Saved at")
    assert live.words()[-1].split()[0] in {"bend", "turn", "sand", "washer", "shim"}


def test_a_step_is_done_differently(opened: Opened, live: LiveBench) -> None:
    page = opened()
    page.click("#differently")
    page.select_option("#move", "turn")
    keys(page, "#sheet-did", "3", ".", "5")
    page.click("#sheet-did [data-way='1']")
    page.wait_for_selector("#did-echo >> text=counter-clockwise, seen from outside the wheel")
    page.click("#sheet-did .next")
    page.wait_for_selector(".last >> text=3.50° counter-clockwise")
    assert live.words()[-1].startswith("turn")


def test_what_is_entered_out_of_reach_arrives_in_order_and_once(opened: Opened, live: LiveBench) -> None:
    page = opened()
    count = len(live.words())
    page.context.set_offline(True)
    for digits in ("91", "92", "93"):
        read_drift(page, *digits)
        page.wait_for_selector("#echo >> text=No connection")
        page.click("#save-reading")
    page.wait_for_selector("#bar-text >> text=Waiting (3)")
    assert "Saved" not in page.inner_text("#bar-text")
    page.wait_for_selector("#bar-text >> text=no connection for", timeout=6000)
    page.context.set_offline(False)
    page.wait_for_selector(".last >> text=drift 93.0 mm right", timeout=10000)
    new = live.words()[count:]
    assert [each.split("-")[1][:5] for each in new] == ["0.091", "0.092", "0.093"]


def test_what_waits_survives_a_reload(opened: Opened, live: LiveBench) -> None:
    page = opened()
    count = len(live.words())
    page.route("**/entries", lambda route: route.abort())
    read_drift(page, "9", "4")
    page.wait_for_selector("#echo >> text=94.0 mm right")
    page.click("#save-reading")
    page.wait_for_selector("#bar-text >> text=Waiting (1)")
    page.reload()
    page.wait_for_selector("#bar-text >> text=Waiting (1)")
    assert len(live.words()) == count
    page.unroute("**/entries")
    page.wait_for_selector(".last >> text=drift 94.0 mm right", timeout=10000)
    assert len(live.words()) == count + 1


def test_a_lost_answer_makes_no_second_entry(opened: Opened, live: LiveBench) -> None:
    page = opened()
    count = len(live.words())
    lost: list[Any] = []

    def lose(route: Any) -> None:
        if lost:
            route.continue_()
            return
        lost.append(route.fetch())
        route.abort()

    page.route("**/entries", lose)
    read_drift(page, "9", "4")
    page.wait_for_selector("#echo >> text=94.0 mm right")
    page.click("#save-reading")
    page.wait_for_selector("#bar-text >> text=Saved at", timeout=10000)
    assert lost[0].status == 201
    assert len(live.words()) == count + 1


def test_what_the_bench_refuses_is_said_and_kept(opened: Opened) -> None:
    page = opened()
    page.click("#differently")
    page.select_option("#move", "turn")
    page.select_option("#station", "front_left")
    keys(page, "#sheet-did", "9", "9", "9")
    page.click("#sheet-did [data-way='0']")
    page.click("#sheet-did .next")
    page.wait_for_selector("#bar-text >> text=Refused")
    page.click("#bar-load")
    assert "is more than 360 deg" in page.inner_text("#outbox")
    page.click("text=Throw away")
    page.wait_for_selector("#bar-text >> text=Up to date")


def test_a_page_of_an_older_program_is_told_and_keeps_what_waits(opened: Opened, live: LiveBench) -> None:
    page = opened()
    page.route(
        "**/cars/lark/entries",
        lambda route: route.fulfill(
            status=409, json={"error": "another version", "mend": "load again", "reload": True}
        ),
    )
    read_drift(page, "9", "4")
    page.wait_for_selector("#echo >> text=94.0 mm right")
    page.click("#save-reading")
    page.wait_for_selector("#bar-text >> text=The bench was renewed")
    page.unroute("**/cars/lark/entries")
    page.reload()
    page.wait_for_selector(".last >> text=drift 94.0 mm right", timeout=10000)
    assert live.told[0].startswith("Paired")


def test_what_another_device_enters_is_seen_within_five_seconds(opened: Opened, live: LiveBench) -> None:
    page = opened()
    live.enter("read", "drift", "88 mm right")
    page.wait_for_selector("#bar-text >> text=New: drift 88.0 mm right", timeout=5000)


def test_the_age_of_what_is_shown_is_told_within_five_seconds(opened: Opened) -> None:
    page = opened()
    page.context.set_offline(True)
    page.wait_for_selector("#bar-text >> text=No connection. As of", timeout=5500)
    page.context.set_offline(False)
    page.wait_for_selector("#bar-text >> text=Up to date", timeout=5500)


_BOXES = """() => [...document.querySelectorAll('a, button, summary, input, select, textarea')]
  .filter(e => e.checkVisibility({ visibilityProperty: true }) && !e.closest('.skip')
    && (!document.querySelector('dialog[open]') || e.closest('dialog[open]')))
  .map(e => { const place = e.type === 'radio' || e.type === 'checkbox' ? e.closest('label') : e;
    const b = place.getBoundingClientRect(), what = e.id || e.textContent.trim().slice(0, 20) || e.name;
    return { what, x: b.x, y: b.y, w: b.width, h: b.height,
      main: Boolean(e.closest('.answers, .keypad, .sides')) || e.id === 'save-reading' }; })"""


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_everything_is_large_enough_for_a_thumb(opened: Opened, width: int, height: int) -> None:
    page = opened(width=width, height=height)
    for sheet in ("", "#more-reading", "#differently", "#cannot"):
        if sheet:
            page.click(sheet)
        check_boxes(page, width)
        if sheet:
            page.keyboard.press("Escape")


def check_boxes(page: Page, width: int) -> None:
    boxes = page.evaluate(_BOXES)
    assert len(boxes) > 4
    for each in boxes:
        assert each["h"] >= (63.9 if each["main"] else 47.9), each
        assert each["w"] >= (47.9 if each["main"] else 40.0), each
        assert each["x"] >= -2.1, each
        assert each["x"] + each["w"] <= width + 0.5, each
    main = [each for each in boxes if each["main"]]
    for one in main:
        for other in main:
            if one is other or one["what"] == other["what"]:
                continue
            apart_x = max(other["x"] - one["x"] - one["w"], one["x"] - other["x"] - other["w"])
            apart_y = max(other["y"] - one["y"] - one["h"], one["y"] - other["y"] - other["h"])
            assert max(apart_x, apart_y) >= 7.9, (one, other)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1280, 800)])
def test_nothing_needs_scrolling_to_act(opened: Opened, width: int, height: int) -> None:
    page = opened(width=width, height=height)
    bar = page.locator("#bar").bounding_box()
    assert bar is not None
    for name in ("#as-asked", "#differently", "#cannot"):
        box = page.locator(name).bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= bar["y"], name
    page.click("#more-reading")
    box = page.locator("#save-reading").bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= height


# WCAG 2.2, relative luminance and contrast ratio.
_CONTRAST = """() => {
  const parse = t => t.match(/[\\d.]+/g).map(Number);
  const lum = ([r, g, b]) => [r, g, b].map(v => v / 255)
    .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, n) => sum + v * [0.2126, 0.7152, 0.0722][n], 0);
  const ground = e => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor);
    if (c.length < 4 || c[3] > 0) return c; }
    return parse(getComputedStyle(document.body).backgroundColor); };
  const found = [];
  for (const e of document.querySelectorAll('main *, .head *, .bar *, .head, .bar')) {
    if (!e.checkVisibility({ visibilityProperty: true })) continue;
    if (e.closest('svg, .heard, noscript')) continue;
    if (document.querySelector('dialog[open]') && !e.closest('dialog[open]')) continue;
    const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (!own) continue;
    const style = getComputedStyle(e);
    const [a, b] = [lum(parse(style.color)), lum(ground(e))];
    found.push({ what: e.textContent.trim().slice(0, 30), size: parseFloat(style.fontSize),
      ratio: (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05), number: e.classList.contains('num') });
  }
  return found; }"""


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(("path", "sheet"), [("/cars/lark", ""), ("/cars/lark", "#more-reading"), ("/", "")])
def test_words_are_large_and_stand_out_in_both_themes(
    opened: Opened, theme: str, path: str, sheet: str
) -> None:
    page = opened(path, color_scheme=theme)
    if sheet:
        read_drift(page, "9", "7")
        page.wait_for_selector("#echo >> text=97.0 mm right")
    found = page.evaluate(_CONTRAST)
    assert len(found) > 5
    assert [each for each in found if each["ratio"] < 7.0] == []
    assert [each for each in found if each["size"] < 18.0] == []
    numbers = [each for each in found if each["number"]]
    assert all(each["size"] >= 32.0 for each in numbers)
    assert numbers or path == "/" or sheet
    grounds = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert grounds == {"light": "rgb(246, 241, 228)", "dark": "rgb(34, 39, 46)"}[theme]
    drawn = page.evaluate(
        "() => { const t = document.querySelector('.sheetframe text');"
        " return t ? getComputedStyle(t).fill : '' }"
    )
    if path == "/cars/lark":
        assert (
            drawn
            in {
                "light": {"rgb(29, 27, 24)", "rgb(74, 68, 59)"},
                "dark": {"rgb(236, 231, 218)", "rgb(195, 198, 202)"},
            }[theme]
        )


def test_nothing_moves_once_the_page_is_there(opened: Opened) -> None:
    page = opened()
    page.add_init_script(
        "window.moved = 0;"
        "new PerformanceObserver(l => { for (const e of l.getEntries()) window.moved += e.value; })"
        ".observe({ type: 'layout-shift', buffered: true });"
    )
    page.reload()
    page.wait_for_timeout(4500)
    assert page.evaluate("window.moved") == 0


def test_the_keyboard_alone_does(opened: Opened, live: LiveBench) -> None:
    page = opened()
    page.focus("#more-reading")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "typed"
    page.keyboard.type("0,4 mm")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.wait_for_selector("#echo >> text=nose high")
    page.focus("#typed")
    page.keyboard.press("Enter")
    page.wait_for_selector(".last >> text=height difference 0.40 mm nose high")
    assert "0.0004" in live.words()[-1]
    page.wait_for_timeout(600)
    page.click("#more-note")
    page.keyboard.press("Escape")
    assert not page.is_visible("#sheet-text")


def test_everything_that_can_be_pressed_has_a_name(opened: Opened) -> None:
    page = opened()
    for sheet in ("", "#more-reading", "#differently"):
        if sheet:
            page.click(sheet)
        nameless = page.evaluate(
            "() => [...document.querySelectorAll('a, button, input, select, textarea')]"
            ".filter(e => e.checkVisibility({ visibilityProperty: true }) && !(e.textContent.trim()"
            " || e.getAttribute('aria-label') || (e.labels && e.labels.length))).map(e => e.outerHTML)"
        )
        assert nameless == []
        if sheet:
            page.keyboard.press("Escape")
    ids = page.evaluate("() => [...document.querySelectorAll('[id]')].map(e => e.id)")
    assert len(set(ids)) == len(ids)


def test_the_units_change_everywhere_at_once(opened: Opened) -> None:
    page = opened()
    assert "sizes in mm" in page.inner_text(".sheetframe")
    page.click(".units [data-units='in']")
    page.wait_for_selector("html[data-units='in']")
    assert "sizes in in" in page.inner_text(".sheetframe")
    # What was entered stays as it was written.
    assert " mm" not in page.inner_text(".tape") + page.inner_text(".step")
    assert "thou" in page.inner_text(".tape")
    page.wait_for_timeout(600)
    page.click("#more-reading")
    assert page.inner_text("#typed-unit") == "thou"


def test_on_paper_only_what_can_be_read_is_left(opened: Opened) -> None:
    page = opened()
    page.emulate_media(media="print")
    assert page.is_visible(".sheetframe")
    assert page.is_visible(".tape")
    for name in ("#bar", ".answers", ".units"):
        assert not page.is_visible(name), name
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"


def test_a_car_is_started_from_a_file(opened: Opened, live: LiveBench) -> None:
    (live.folder / "wren.toml").write_text(
        (live.folder / "lark.toml").read_text(encoding="utf-8").replace('"Lark"', '"Wren"'), encoding="utf-8"
    )
    page = opened("/")
    page.click("summary:has-text('Start a car')")
    page.click("[data-start='wren.toml']")
    page.wait_for_url(f"{live.url}/cars/wren")
    assert page.inner_text(".do") == "Read the height difference."
    first, second = (page.inner_html(".swatch") for _ in range(2))
    assert first == second


def test_a_name_that_is_turned_to_this_machine_gets_nothing(browser: Browser, live: LiveBench) -> None:
    context = browser.new_context()
    page = context.new_page()
    answer = page.goto(f"http://evil.example:{live.port}/")
    assert answer is not None
    assert answer.status == 421
    assert "Lark" not in page.content()
    context.close()


class _Elsewhere(http.server.BaseHTTPRequestHandler):
    """A page of another port of the same host, to which a browser sends our cookie along."""

    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(b"<!doctype html><title>elsewhere</title><form method=post></form>")

    def log_message(self, *_: Any) -> None:
        """Say nothing."""


@pytest.fixture
def elsewhere() -> Iterator[str]:
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Elsewhere) as other:
        thread = threading.Thread(target=other.serve_forever, daemon=True)
        thread.start()
        yield f"http://127.0.0.1:{other.server_address[1]}"
        other.shutdown()
        thread.join()


def test_a_page_on_another_port_changes_and_reads_nothing(
    browser: Browser, live: LiveBench, elsewhere: str
) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{live.url}/pair#t={live.pairing.link_token()}")
    page.wait_for_url(f"{live.url}/")
    count = len(live.words())
    page.goto(elsewhere)
    for media in ("application/json", "text/plain"):
        got = page.evaluate(
            """async ([url, media]) => { try {
              const a = await fetch(url, { method: 'POST', credentials: 'include',
                headers: { 'Content-Type': media }, body: '{}' });
              return 'answered ' + a.status; } catch (e) { return 'refused'; } }""",
            [f"{live.url}/api/cars/lark/entries", media],
        )
        assert got == "refused", media
    got = page.evaluate(
        "async url => { try { return await (await fetch(url, { credentials: 'include' })).text(); }"
        " catch (e) { return 'refused'; } }",
        f"{live.url}/api/cars/lark",
    )
    assert got == "refused"
    answers = []
    page.on("response", lambda response: answers.append(response.status))
    page.evaluate(
        "url => { const f = document.forms[0]; f.action = url; f.enctype = 'text/plain'; f.submit(); }",
        f"{live.url}/api/cars/lark/entries",
    )
    page.wait_for_timeout(500)
    assert answers == [403]
    assert len(live.words()) == count
    context.close()
