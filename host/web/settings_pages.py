"""The page on which a shop sets what holds for its whole desk."""

import zoneinfo

from flask import Blueprint, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.people.role import Role
from host.store.settings import SETTINGS, SettingError, tidy_text
from host.web.desk_behind import the_desk
from host.web.rules import allowed

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


def _page(typed: dict[str, str], errors: dict[str, str]) -> str:
    return render_template(
        "settings.html",
        all_settings=SETTINGS,
        typed=typed,
        errors=errors,
        kept="kept" in request.args,
        zones=sorted(name for name in zoneinfo.available_timezones() if "/" in name or name == "UTC"),
    )
