"""The page on which a shop sets what holds for its whole desk."""

import zoneinfo

from flask import Blueprint, current_app, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.people.role import STAFF, Role
from host.store.settings import SETTINGS, SettingError, tidy_text
from host.web.desk_behind import the_desk
from host.web.door import the_visitor
from host.web.navigation import may_open
from host.web.rules import allowed
from host.web.sign_in_way import safe_way

_OF_THE_SHOP = ("shop_name", "shop_address")

settings_pages = Blueprint("settings", __name__)


@settings_pages.get("/settings")
@allowed(Role.AUTHORISER, Role.INSTRUCTOR)
def index() -> str:
    """Every setting as it is."""
    kept = the_desk().store.settings.texts()
    return _page({setting.name: kept.get(setting.name, setting.usual) for setting in SETTINGS}, {})


@settings_pages.post("/settings")
@allowed(Role.AUTHORISER, Role.INSTRUCTOR)
def change() -> AnyResponse | tuple[str, int]:
    """Set what was typed, or say beside each field why not."""
    typed = {setting.name: request.form[setting.name] for setting in SETTINGS if setting.name in request.form}
    errors: dict[str, str] = {}
    for name, text in typed.items():
        try:
            tidy_text(name, text)
        except SettingError as error:
            errors[name] = str(error)
    if errors:
        return _page(typed, errors), 422
    the_desk().store.settings.change(typed)
    return redirect("/settings?kept=1", 303)


@settings_pages.get("/settings/shop")
@allowed(*STAFF)
def shop() -> str:
    """Ask for the shop's name, before anything else is typed."""
    return _shop_page({"shop_name": g.settings.shop_name, "shop_address": g.settings.shop_address}, {})


@settings_pages.post("/settings/shop")
@allowed(Role.AUTHORISER, Role.INSTRUCTOR)
def name_shop() -> AnyResponse | tuple[str, int]:
    """Name the shop and go on where somebody was, or say beside the field why not."""
    typed = {name: request.form.get(name, "") for name in _OF_THE_SHOP}
    errors = {} if typed["shop_name"].strip() else {"shop_name": "Write what the shop is called."}
    for name, text in typed.items():
        try:
            tidy_text(name, text)
        except SettingError as error:
            errors.setdefault(name, str(error))
    if errors:
        return _shop_page(typed, errors), 422
    the_desk().store.settings.change(typed)
    return redirect(safe_way(request.form.get("then", "/")), 303)


def _shop_page(typed: dict[str, str], errors: dict[str, str]) -> str:
    return render_template(
        "shop.html",
        typed=typed,
        errors=errors,
        then=safe_way(request.values.get("then", "/")),
        may_name=may_open(current_app, "/settings", the_visitor()),
    )


def _page(typed: dict[str, str], errors: dict[str, str]) -> str:
    return render_template(
        "settings.html",
        all_settings=SETTINGS,
        typed=typed,
        errors=errors,
        kept="kept" in request.args,
        zones=sorted(name for name in zoneinfo.available_timezones() if "/" in name or name == "UTC"),
    )
