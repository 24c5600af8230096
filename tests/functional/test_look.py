"""The shell in a real browser: thumbs, light and dark, the keyboard, and pages without script."""

from typing import Any

from playwright.sync_api import Browser, Page

PHONE, DESK = (390, 844), (1280, 900)
PAGES = (
    "/begin",
    "/today",
    "/count",
    "/orders",
    "/orders/new",
    "/orders/take-in",
    "/orders/promise",
    "/orders/free",
    "/plans",
    "/season",
    "/season/pins",
    "/season/back",
    "/sowings",
    "/seed",
    "/supplies",
    "/house",
    "/handbook?q=lettuce",
    "/handbook/crops/lettuce",
    "/handbook/containers/plug-128",
)


def opened(browser: Browser, size: tuple[int, int], scheme: Any) -> Page:
    """Open a page of a size in a color scheme."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, color_scheme=scheme
    )
    context.set_default_timeout(20_000)
    return context.new_page()


def test_what_is_pressed_with_a_thumb_is_at_least_48_px_high(browser, small_site):
    page = opened(browser, PHONE, "light")
    low = []
    for path in PAGES:
        page.goto(small_site.url + path)
        low += page.evaluate(
            """[...document.querySelectorAll('.big, .foot a, .foot summary, main summary,'
              + 'select, input:not([type=hidden], [type=checkbox], [type=radio])')]
              .filter(each => each.offsetParent)
              .map(each => [each.outerHTML.slice(0, 90), each.getBoundingClientRect().height])
              .filter(([, height]) => height < 47.5)
              .map(([html, height]) => location.pathname + ' ' + height + ' ' + html)"""
        )
    page.context.close()
    assert low == []


def test_light_or_dark_is_chosen_kept_and_there_before_anything_is_painted(browser, small_site):
    page = opened(browser, DESK, "light")
    page.goto(f"{small_site.url}/handbook/crops/lettuce")
    page.wait_for_selector("figure.chart.drawn svg")
    ground = "getComputedStyle(document.body).backgroundColor"
    line = "document.querySelector('figure.chart .mark-line path').getAttribute('stroke')"
    light, light_line = page.evaluate(ground), page.evaluate(line)
    page.locator(".row-nav summary").click()
    page.locator(".row-nav [data-theme-choice=dark]").click()
    page.wait_for_function(f"() => ({line}) !== '{light_line}'")
    dark = page.evaluate(ground)
    assert dark != light
    # As early as the style sheet is read: theme.js runs before the body is there.
    page.add_init_script(
        "document.addEventListener('readystatechange', () => {"
        " window.early ??= document.documentElement.dataset.theme; })"
    )
    page.reload()
    assert page.evaluate("window.early") == "dark"
    assert page.evaluate(ground) == dark
    page.locator(".row-nav summary").click()
    assert page.locator(".row-nav [data-theme-choice=dark]").get_attribute("aria-pressed") == "true"
    page.context.close()


def test_more_opens_by_keyboard_and_closes_with_escape(browser, small_site):
    page = opened(browser, PHONE, "light")
    page.goto(f"{small_site.url}/handbook")
    more = page.locator(".foot summary")
    more.focus()
    page.keyboard.press("Enter")
    assert page.locator(".foot .more-sheet a", has_text="Season").is_visible()
    page.keyboard.press("Escape")
    assert not page.locator(".foot .more-sheet").is_visible()
    assert more.evaluate("each => each === document.activeElement")
    page.context.close()


def test_the_handbook_is_filtered_while_one_types(browser, small_site):
    page = opened(browser, PHONE, "light")
    page.goto(f"{small_site.url}/handbook")
    page.locator("#q").press_sequentially("romaine")
    page.wait_for_function("() => document.querySelectorAll('.index li').length === 1")
    assert page.locator(".index b").inner_text() == "Lettuce, romaine"
    assert page.url.endswith("/handbook?q=romaine")
    page.context.close()


def test_a_chart_can_be_read_without_seeing_it(browser, small_site):
    page = opened(browser, DESK, "light")
    page.goto(f"{small_site.url}/handbook/crops/lettuce")
    page.wait_for_selector("figure.chart.drawn svg")
    assert page.locator("figure.chart .chart-drawing").get_attribute("aria-hidden") == "true"
    assert "at 20 °C half up in" in page.locator("figure.chart figcaption").inner_text()
    page.context.close()


def test_pages_are_read_and_sent_without_any_script(browser, small_site):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{small_site.url}/handbook")
    page.locator("#q").fill("romaine")
    page.get_by_role("button", name="Find").click()
    assert page.locator(".index li").count() == 1
    page.goto(f"{small_site.url}/handbook/crops/lettuce")
    page.locator("#in").select_option("wool-25")
    page.get_by_role("button", name="Show").click()
    assert "in=wool-25" in page.url
    assert page.locator("figure.chart figcaption").is_visible()
    context.close()
