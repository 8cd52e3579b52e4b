"""A page in a real browser: shown whole at every width, sorted, filtered, come to by keys, and fetching nothing.

Every check has a broken twin of the page that it must notice.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from polefem.export import Pages
from polefem.report import Findings

# A browser is not on every computer; where this is checked for everybody it must be.
if not os.environ.get("CI"):
    pytest.importorskip("selenium", reason="bash .ci/setup test browser")
    if not (shutil.which("chromium") and shutil.which("chromedriver")):
        pytest.skip("no chromium here: bash .ci/setup test browser", allow_module_level=True)

from tests.report import browser


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    with browser.drive(tmp_path_factory.mktemp("profile")) as driven:
        yield driven


@pytest.fixture
def shown(driver: Any, pages: Pages) -> Any:
    browser.at_width(driver, 1366)
    browser.opened(driver, pages.paths[0])
    return driver


@pytest.fixture
def broken(driver: Any, html: str, tmp_path: Path) -> Callable[[str, str], Any]:
    """Shows the page with one thing replaced."""

    def show(old: str, new: str) -> Any:
        assert old in html
        path = tmp_path / "broken.html"
        path.write_text(html.replace(old, new), "utf-8")
        browser.at_width(driver, 1366)
        browser.opened(driver, path)
        return driver

    return show


WIDTHS: dict[str, Callable[[Any], None]] = {
    "phone": lambda driver: browser.at_width(driver, 390),
    "laptop": lambda driver: browser.at_width(driver, 1366),
    "paper": browser.on_paper,
}


@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_nothing_is_clipped_and_every_picture_is_shown(width: Callable[[Any], None], shown: Any) -> None:
    width(shown)
    assert browser.clipped(shown) == []
    shown.execute_script("document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
    assert browser.clipped(shown) == []
    assert browser.unseen_pictures(shown) == []


def test_paper_ends_where_the_page_does(shown: Any, broken: Callable[[str, str], Any]) -> None:
    """What unfolds once sheets are counted pushes the cautions off the last of them."""

    def whole(driver: Any) -> bool:
        printed = browser.printed_sheets(driver)
        driver.execute_script("document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
        return printed == browser.printed_sheets(driver) > 1

    assert whole(shown)
    assert not whole(broken('"beforeprint"', '"neverprinted"'))


@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
@pytest.mark.parametrize(
    "wrong",
    [
        ".answer { white-space: nowrap; }",
        "header { width: 1500px; }",
        ".brief { height: 2rem; overflow: hidden; }",
        "#unranked .scroller { overflow: visible; } #unranked table { width: 1500px; }",
    ],
)
def test_a_page_that_is_clipped_is_noticed(
    wrong: str, width: Callable[[Any], None], broken: Callable[[str, str], Any]
) -> None:
    driver = broken("</style>", f"{wrong}</style>")
    width(driver)
    assert browser.clipped(driver) != []


#: What each table on show says of going on, and whether it does: [said, does].
GOES_ON = """
const tables = [...document.querySelectorAll(".scroller")].filter((table) => table.checkVisibility());
return tables.map((table) => [
  getComputedStyle(table.previousElementSibling).display !== "none", table.scrollWidth > table.clientWidth + 1]);
"""


@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_a_table_that_goes_on_says_so(width: Callable[[Any], None], shown: Any) -> None:
    width(shown)
    told = f"return (() => {{ {GOES_ON} }})().every(([said, does]) => said === does)"
    assert browser.becomes(shown, told)
    hints = [said for said, _ in shown.execute_script(GOES_ON)]
    if width is not WIDTHS["laptop"]:  # where it depends on how many columns there are
        assert any(hints) == (width is WIDTHS["phone"])


def test_a_table_that_goes_on_and_says_nothing_is_noticed(broken: Callable[[str, str], Any]) -> None:
    driver = broken("</style>", ".more { display: none !important; }</style>")
    WIDTHS["phone"](driver)
    assert [False, True] in driver.execute_script(GOES_ON)


def test_a_table_that_scrolls_on_a_screen_is_clipped_on_paper(broken: Callable[[str, str], Any]) -> None:
    driver = broken("</style>", "#ranked { width: 1500px; }</style>")
    assert browser.clipped(driver) == []
    browser.on_paper(driver)
    assert browser.clipped(driver) != []


def test_paper_unfolds_every_shape_and_the_screen_folds_them_again(shown: Any) -> None:
    opened = "return document.querySelectorAll('details[open]').length"
    assert shown.execute_script(opened) == 1
    browser.on_paper(shown)
    assert browser.becomes(shown, f"{opened} == 4")
    assert browser.unseen_pictures(shown) == []
    browser.on_screen(shown)
    assert browser.becomes(shown, f"{opened} == 1")


def test_a_picture_that_is_not_shown_is_noticed(broken: Callable[[str, str], Any]) -> None:
    assert browser.unseen_pictures(broken("data:image/png;base64,", "data:image/png;base64,AAAA")) != []
    assert browser.unseen_pictures(broken("</style>", "#first img { display: none; }</style>")) != []


def test_the_page_fetches_nothing_and_the_console_is_silent(shown: Any) -> None:
    assert browser.fetched(shown) == []
    assert browser.complaints(shown) == []


def test_a_page_that_fetches_or_errs_is_noticed(broken: Callable[[str, str], Any]) -> None:
    nowhere = "http://127.0.0.1:9/style.css"  # the discard port: no one answers
    policy = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'"
    driver = broken(
        policy, f"default-src *; style-src * 'unsafe-inline'\"><link rel=stylesheet href=\"{nowhere}"
    )
    assert nowhere in browser.fetched(driver)
    driver = broken("<script>", "<script>absent();")
    assert browser.complains(driver, "absent is not defined")
    driver = broken("</h1>", f'</h1><img src="{nowhere}" alt="kept out by the page\'s own policy">')
    assert browser.complains(driver, nowhere)


def column(driver: Any, at: int) -> list[str]:
    """What the ranking shows in a column, row by row, without errors."""
    script = """return [...document.querySelectorAll('#ranked tbody tr')].filter((row) => row.checkVisibility())
        .map((row) => row.cells[arguments[0]].firstChild.textContent.trim())"""
    found: list[str] = driver.execute_script(script, at)
    return found


def press(driver: Any, *keys: str) -> None:
    """Press keys on what has the focus."""
    driver.switch_to.active_element.send_keys(*keys)


def sorts(driver: Any, at: int) -> bool:
    """Whether the button over a column, pressed by the keyboard, sorts it up, and down when pressed again."""
    numbers = []
    for said in ("ascending", "descending"):
        driver.execute_script("document.querySelectorAll('#ranked thead button')[arguments[0]].focus()", at)
        press(driver, "\n")
        state = driver.execute_script(
            "return document.querySelectorAll('#ranked thead th')[arguments[0]].ariaSort", at
        )
        numbers.append([float(text) for text in column(driver, at)])
        if state != said:
            return False
    up, down = numbers
    return up == sorted(up) and down == sorted(down, reverse=True) and len(set(up)) > 1


def test_columns_sort_by_the_keyboard(shown: Any, findings: Findings) -> None:
    names = [record.name for record in findings.ranking.ordered]
    assert column(shown, 1) == names
    assert sorts(shown, 3)
    assert sorts(shown, 0)
    shown.execute_script("document.querySelectorAll('#ranked thead button')[1].click()")
    assert column(shown, 1) == sorted(names)
    assert len(shown.execute_script("return [...document.querySelectorAll('#ranked th[aria-sort]')]")) == 1


def test_a_page_that_sorts_one_way_only_or_does_not_say_so_is_noticed(
    broken: Callable[[str, str], Any],
) -> None:
    assert not sorts(broken("sign * compare(a, b, at)", "compare(a, b, at)"), 3)
    assert not sorts(broken('head.setAttribute("aria-sort"', 'head.setAttribute("data-sort"'), 3)


def test_rows_are_filtered_by_words_and_by_figures(shown: Any, findings: Findings) -> None:
    ripples = {r.name: 100 * r.figures.ripple for r in findings.ranking.ordered if r.figures is not None}
    words = shown.find_element("name", "words")
    words.send_keys("WI")
    assert column(shown, 1) == [name for name in ripples if "wi" in name]
    assert "of 4 shapes shown" in shown.find_element("css selector", "output").text
    words.clear()
    bound = sum(sorted(ripples.values())[1:3]) / 2
    shown.find_element("name", "bound").send_keys(f"{bound:.6g}")
    assert column(shown, 1) == [name for name, value in ripples.items() if value <= bound]
    shown.find_element("name", "side").send_keys("is at least")
    assert column(shown, 1) == [name for name, value in ripples.items() if value >= bound]
    shown.find_element("css selector", "button[type=reset]").click()
    assert browser.becomes(shown, "return document.querySelector('output').textContent.startsWith('4 of 4')")
    assert len(column(shown, 1)) == 4


def tabbed(driver: Any, times: int) -> list[tuple[str, str, str]]:
    """What the Tab key comes to: its kind, what it says, its outline."""
    script = """const e = document.activeElement;
        return [e.tagName, e.name || e.textContent.trim().slice(0, 20), getComputedStyle(e).outlineStyle]"""
    seen = []
    for _ in range(times):
        press(driver, "\ue004")
        seen.append(tuple(driver.execute_script(script)))
    return seen


def all_outlined(seen: list[tuple[str, str, str]]) -> bool:
    """Whether everything that had the focus showed it; the page itself has it once past the last."""
    return all(outline != "none" for kind, _, outline in seen if kind != "BODY")


def test_the_keyboard_comes_to_everything_and_shows_where_it_is(shown: Any) -> None:
    seen = tabbed(shown, 60)
    assert {kind for kind, _, _ in seen} >= {"A", "INPUT", "SELECT", "BUTTON", "SUMMARY", "DIV"}
    assert seen[0][:2] == ("A", "To the ranking")
    assert all_outlined(seen)


def test_a_page_that_hides_where_the_keyboard_is_is_noticed(broken: Callable[[str, str], Any]) -> None:
    assert not all_outlined(
        tabbed(broken("</style>", "button:focus { outline: none !important; }</style>"), 30)
    )


def test_a_name_in_the_ranking_opens_its_shape(shown: Any, findings: Findings) -> None:
    at = len(findings.ranking.ordered)
    opened = f"return document.getElementById('shape-{at}').open"
    assert not shown.execute_script(opened)
    shown.find_element("link text", findings.ranking.ordered[-1].name).send_keys("\n")
    assert browser.becomes(shown, opened)
