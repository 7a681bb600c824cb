"""Signing in, keeping the people and reading who did what, in a browser of a phone's size."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from host.people.role import Role
from host.web.server import PageServer

# What the browser shows does not hang on where the store is: once is enough.
pytestmark = [
    pytest.mark.slow,
    pytest.mark.browser,
    pytest.mark.parametrize("store_folder", ["file"], indirect=True),
]


@pytest.fixture
def served(peopled) -> Iterator[PageServer]:
    server = PageServer(peopled.app, port=0)
    server.start()
    yield server
    server.stop()


@pytest.fixture
def phone(served, devices):
    """Opens a phone at the desk; being refused is no fault of a page."""

    def begin(**options):
        return devices(served.url, "phone", expected=("the server responded with a status of",), **options)

    return begin


def sign_in(page: Page, name: str, password: str) -> None:
    page.get_by_label("Your name").fill(name)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()


def test_a_page_asks_who_is_there_and_then_opens(phone, peopled):
    here = phone()
    page = here.open("stations/bench-1")
    here.assert_fits(page)
    sign_in(page, "Ida Marsh", "not hers at all")
    expect(page.get_by_label("Password")).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_label("Your name")).to_have_value("Ida Marsh")
    expect(page.get_by_label("Password")).to_have_value("")
    sign_in(page, "Ida Marsh", peopled.password)
    page.wait_for_url("**/stations/bench-1")
    expect(page.get_by_role("link", name="Ida Marsh")).to_be_visible()
    here.assert_fits(page)
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in")
    page.go_back()
    page.reload()
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()


def test_the_keyboard_alone_signs_in(phone, peopled):
    here = phone()
    page = here.open("sign-in")
    page.get_by_label("Your name").focus()
    page.keyboard.type("Ida Marsh")
    page.keyboard.press("Tab")
    page.keyboard.type(peopled.password)
    page.keyboard.press("Enter")
    expect(page.get_by_role("link", name="Ida Marsh")).to_be_visible()


def test_a_student_is_told_in_words_whose_page_it_is(phone, peopled):
    peopled.add("Bo Teller", Role.STUDENT)
    here = phone()
    page = here.open("sign-in")
    sign_in(page, "Bo Teller", peopled.password)
    expect(page.get_by_role("link", name="Certificates")).to_have_count(0)
    page.goto(page.url.rsplit("/", 1)[0] + "/certificates")
    expect(page.get_by_text("This is not for your role")).to_be_visible()
    here.assert_fits(page)


def test_a_person_is_added_with_the_thumb_and_stands_in_the_list(phone, peopled):
    here = phone()
    page = here.open("people")
    sign_in(page, "Ida Marsh", peopled.password)
    page.wait_for_url("**/people")
    form = page.locator('form[action="/people"]')
    form.get_by_label("Name").fill("Bo Teller")
    form.get_by_label("technician").check()
    form.get_by_label("Password").fill("short")
    form.get_by_role("button", name="Add them").click()
    # What was wrong stands beside the field; what was right is still there.
    expect(form.get_by_label("Password")).to_have_attribute("aria-invalid", "true")
    expect(form.get_by_label("technician")).to_be_checked()
    form.get_by_label("Password").fill("nine dull copper gaskets")
    form.get_by_role("button", name="Add them").click()
    expect(page.locator("ul.list")).to_contain_text("Bo Teller")
    page.goto(page.url.replace("/people", "/audit"))
    expect(page.locator("ul.list li").first).to_contain_text(
        "Ida Marsh added an account: Bo Teller: technician"
    )


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_pages_of_people_fit_a_phone_and_keep_no_reader_out(phone, peopled, theme):
    here = phone(color_scheme=theme)
    page = here.open("sign-in")
    found = []
    root = page.url.removesuffix("sign-in")
    for path in ("sign-in", "", "people", "audit", "you"):
        if path == "":
            sign_in(page, "Ida Marsh", peopled.password)
            page.wait_for_url(root)
        else:
            page.goto(root + path)
        for change in page.locator("main details > summary").all():
            change.click()
        here.assert_fits(page)
        found += here.barriers(page)
    assert found == []
