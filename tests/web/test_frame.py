"""What every answer of the web door keeps to: its policy, its own origin, one shape of errors, one frame."""

from __future__ import annotations

import re

import pytest
from starlette.datastructures import Headers

from loopworthy.doors.web.app import create_app
from loopworthy.doors.web.guard import same_origin
from loopworthy.doors.web.pages import MODULES
from loopworthy.doors.web.statics import static_files
from tests.web.conftest import Shop, make_shop
from tests.web.visitor import HOST, Visitor

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'self'"
)


def addresses(shop: Shop) -> list[str]:
    """Every page that this shop can show: all addresses without values but the unit's, and every work page."""
    found = []
    for module in MODULES:
        for door in module.ROUTES:
            if "GET" in door.methods and "{" not in door.path.replace("{unit}", ""):
                found.append(door.path.replace("/unit/{unit}", shop.at))
    found += [f"{shop.at}/do/{page.id}" for page in shop.workplace.catalogue.pages]
    needing_more = (f"{shop.at}/repair", f"{shop.at}/leave-out", "/record/file", f"{shop.at}/sheet/running.css")
    return [one for one in found if one not in needing_more]


def test_every_page_answers_with_the_policy_and_without_inline_style_or_script() -> None:
    shop = make_shop()
    shop.walk("high-pressure")
    visitor = Visitor(shop.app)
    asked = addresses(shop)
    assert len(asked) > 30
    for address in asked:
        answered = visitor.get(address)
        assert answered.status == 200, f"{address}: {answered.status}"
        assert answered.headers["content-security-policy"] == POLICY, address
        assert answered.headers["cache-control"] == "no-store", address
        assert answered.headers["x-content-type-options"] == "nosniff", address
        assert answered.headers["referrer-policy"] == "same-origin", address
        for element in answered.document.walk():
            assert "style" not in element.attributes, f"{address}: {element.tag}"
            assert element.tag != "style", address
            assert not [name for name in element.attributes if name.startswith("on")], f"{address}: {element.tag}"
            assert element.tag != "script" or element.get("src").startswith("/static/"), address
            assert not re.match(r"(https?:)?//|javascript:", element.get("src") or element.get("href")), address


def test_every_page_has_one_main_heading_unique_ids_and_labelled_fields() -> None:
    shop = make_shop()
    shop.walk("high-pressure")
    visitor = Visitor(shop.app)
    for address in addresses(shop):
        document = visitor.get(address).document
        assert len(document.all("h1")) == 1, address
        ids = [one.get("id") for one in document.walk() if one.get("id")]
        assert len(ids) == len(set(ids)), f"{address}: {[one for one in ids if ids.count(one) > 1]}"
        labelled = {one.get("for") for one in document.all("label")}
        for field in (*document.all("input"), *document.all("select"), *document.all("textarea")):
            if field.get("type") in ("hidden", "checkbox", "radio") or "aria-label" in field.attributes:
                continue
            assert field.get("id") in labelled, f"{address}: {field.get('name')} has no label"
        described = " ".join(one.get("aria-describedby") for one in document.walk()).split()
        assert set(described) <= set(ids), address


def test_a_demo_says_on_every_page_that_it_is_invented(shop: Shop, visitor: Visitor) -> None:
    assert "Invented demo record" in visitor.get("/").html
    assert "Invented demo record" in visitor.get(shop.at).html


def test_times_name_the_zone_of_the_site(shop: Shop, visitor: Visitor) -> None:
    answered = visitor.get(shop.at)
    assert answered.context.frame.zone == "Europe/Malta, UTC+02:00"
    assert "All times: Europe/Malta, UTC+02:00." in answered.html
    assert "read 05:30, Europe/Malta" in answered.text


def test_the_page_carries_the_servers_moment_for_the_clocks_of_the_phone(shop: Shop, visitor: Visitor) -> None:
    (html,) = visitor.get(shop.at).document.all("html")
    assert html.get("data-now") == "2026-06-14T05:30:00.000+02:00"
    assert "data-clock-fixed" not in html.attributes
    (html,) = Visitor(create_app(shop.workplace, clock_fixed=True)).get(shop.at).document.all("html")
    assert "data-clock-fixed" in html.attributes


# --- who may send ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site", "origin": "https://elsewhere.example"},
        {"sec-fetch-site": "same-site", "origin": "http://other.loop.test"},
        {"sec-fetch-site": "cross-site", "origin": HOST},  # a page cannot set the first header, so it decides
    ],
)
def test_a_form_from_another_origin_is_refused_and_records_nothing(
    shop: Shop, visitor: Visitor, headers: dict[str, str]
) -> None:
    before = shop.workplace.book().count
    answered = visitor.post("/people", {"name": "Mallory"}, headers=headers)
    assert answered.status == 403
    assert shop.workplace.book().count == before


@pytest.mark.parametrize(
    ("headers", "ours"),
    [
        ({"host": "loop.test", "sec-fetch-site": "same-origin"}, True),
        ({"host": "loop.test", "sec-fetch-site": "none"}, True),
        ({"host": "loop.test:8000", "origin": "http://loop.test:8000"}, True),
        ({"host": "loop.test:8000", "origin": "http://loop.test:9000"}, False),
        ({"host": "loop.test", "origin": "null"}, False),  # a sandboxed frame, a local file
        ({"host": "loop.test"}, True),  # no browser at all
    ],
)
def test_the_origin_is_read_from_what_only_the_browser_can_say(headers: dict[str, str], ours: bool) -> None:
    assert same_origin(Headers(headers)) is ours


def test_a_server_that_names_its_hosts_answers_under_no_other_name(shop: Shop) -> None:
    visitor = Visitor(create_app(shop.workplace, hosts=("loop.test",)))
    assert visitor.get("/").status == 200
    refused = visitor.get("/", headers={"host": "rebound.example"})
    assert refused.status == 403
    assert "rebound.example" in refused.html


# --- errors ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("/nowhere", 404),
        ("/unit/000000000000", 404),
        ("UNIT/do/no-such-page", 404),
        ("UNIT/do/air?step=Z99", 404),
        ("UNIT/evidence/0123456789ab", 404),
        ("UNIT/evidence/nonsense", 404),
        ("UNIT/release/0123456789ab", 404),
        ("UNIT/repair?event=0123456789ab", 404),
        ("UNIT/repair", 404),
        ("UNIT/leave-out?step=C02&about=nothing", 404),
    ],
)
def test_what_is_not_there_is_said_in_one_shape_with_a_way_on(
    shop: Shop, visitor: Visitor, address: str, status: int
) -> None:
    answered = visitor.get(address.replace("UNIT", shop.at))
    assert answered.status == status
    assert answered.template == "problem.html"
    assert answered.context.message
    assert answered.document.all("a", href="/", class_="button")


def test_a_never_skipped_step_cannot_be_left_out(shop: Shop, visitor: Visitor) -> None:
    answered = visitor.get(f"{shop.at}/leave-out?step=L02&about={shop.unit}")
    assert answered.status == 403
    assert "L02 Negative test is never skipped" in answered.context.message


def test_an_address_answers_only_to_its_methods(shop: Shop, visitor: Visitor) -> None:
    assert visitor.get(f"{shop.at}/go-on/H1").status == 405
    assert visitor.post(shop.at).status == 405


def test_a_broken_page_shows_nothing_of_the_inside(shop: Shop, caplog: pytest.LogCaptureFixture) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("secret of the house")

    shop.workplace.verdict = broken  # type: ignore[assignment, method-assign]
    answered = Visitor(shop.app).get("/")
    assert answered.status == 500
    assert "Nothing was recorded" in answered.context.message
    assert "secret" not in answered.html
    assert "secret of the house" in caplog.text


def test_a_form_that_is_too_large_is_refused_with_its_limit(shop: Shop, visitor: Visitor) -> None:
    answered = visitor.post("/people", {"name": "x" * (12 * 1024 * 1024 + 1)})
    assert answered.status == 422
    assert "12 MB" in answered.context.message


# --- statics, health, folders ---------------------------------------------------------------------------------------


def test_a_static_file_is_kept_under_the_address_of_its_content_only(shop: Shop, visitor: Visitor) -> None:
    (link,) = [one for one in visitor.get("/").document.all("link") if "tokens.css" in one.get("href")]
    kept = visitor.get(link.get("href"))
    assert kept.headers["cache-control"] == "public, max-age=31536000, immutable"
    assert kept.headers["content-type"] == "text/css; charset=utf-8"
    stale = visitor.get("/static/css/tokens.css?v=old")
    assert stale.headers["cache-control"] == "no-cache"
    again = visitor.get(link.get("href"), headers={"if-none-match": kept.headers["etag"]})
    assert (again.status, again.html) == (304, "")
    assert visitor.get("/static/css/../app.py").status == 404
    assert visitor.get("/static/nothing.css").status == 404


def test_every_static_file_that_a_page_names_is_there(shop: Shop, visitor: Visitor) -> None:
    document = visitor.get(shop.at).document
    named = [one.get("href") for one in document.all("link")] + [one.get("src") for one in document.all("script")]
    assert len(named) >= 7
    for address in named:
        assert visitor.get(address).status == 200, address
    assert all(one.media_type for one in static_files().values())


def test_the_server_says_that_it_can_read_the_record(shop: Shop, visitor: Visitor) -> None:
    answered = visitor.get("/healthz")
    assert answered.status == 200
    assert answered.html == f"ok {shop.workplace.book().count}\n"


def test_below_a_folder_every_address_begins_with_it(shop: Shop) -> None:
    answered = Visitor(shop.app, root="/somewhere").get("/somewhere" + shop.at)
    assert answered.status == 200
    for element in answered.document.walk():
        for name in ("href", "src", "action"):
            address = element.get(name)
            assert not address.startswith("/") or address.startswith("/somewhere/"), address
