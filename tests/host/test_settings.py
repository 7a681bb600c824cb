from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner

from calibration.conformity import DecisionRule
from host.cli import main
from host.data_folder import DataFolder
from host.local_time import kept_zone, local_day, local_span, local_time, zone_to_keep
from host.recalibration import months_later
from host.store import open_store
from host.store.settings import SETTINGS, SettingError, settings_from


def ohmbath(*words, data):
    return CliRunner().invoke(main, ["settings", *words, "--data", str(data)])


def test_a_fresh_store_has_usual_settings_and_every_usual_text_can_be_read(store):
    store.settings.change({"shop_name": ""})  # the only one that these tests give a new desk
    settings = store.settings.read()
    assert settings == settings_from({setting.name: setting.usual for setting in SETTINGS})
    assert settings.rule is DecisionRule.GUARDED
    assert settings.zone is None
    assert settings.shop.name == ""


def test_what_was_set_is_there_after_a_restart(tmp_path):
    store = open_store(DataFolder(tmp_path))
    store.settings.change({"shop_name": "  Plover   & Tansy ", "rule": "simple", "time_zone": "Asia/Kolkata"})
    store.settings.change({"shop_name": "Tansy & Plover", "recalibrate_probe_months": "12"})
    store.close()
    again = open_store(DataFolder(tmp_path))
    settings = again.settings.read()
    again.close()
    assert settings.shop.name == "Tansy & Plover"
    assert settings.rule is DecisionRule.SIMPLE
    assert settings.zone == ZoneInfo("Asia/Kolkata")
    assert settings.recalibration_months == {"probe": 12}


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("time_zone", "Mars/Olympus", "no time zone"),
        ("time_zone", "../../etc/passwd", "no time zone"),
        ("rule", "kind", "guarded, simple"),
        ("scale", "K", "c, f"),
        ("recalibrate_probe_months", "0", "whole number of months"),
        ("recalibrate_probe_months", "12.5", "whole number of months"),
        ("recalibrate_probe_months", "²", "whole number of months"),
        ("shop_name", "x" * 81, "there is room for 80"),
        ("shop_name", "Shop 🔧", "not in the fonts"),
        ("colour", "red", "There is no setting"),
    ],
)
def test_a_setting_that_cannot_be_is_refused_and_nothing_changes(store, name, text, words):
    kept = store.settings.texts()
    with pytest.raises(SettingError, match=words):
        store.settings.change({"shop_address": "4 Kiln Yard", name: text})
    assert store.settings.texts() == kept


def test_the_shop_file_of_an_older_version_is_taken_over_once(tmp_path):
    folder = DataFolder(tmp_path)
    file = tmp_path / "shop.toml"
    file.write_text('name = "Heron Street Garage"\naddress = "2 Heron Street"\n', "utf-8")
    store = open_store(folder)
    assert store.settings.read().shop.name == "Heron Street Garage"
    assert store.settings.read().shop.address == "2 Heron Street"
    store.settings.change({"shop_name": "Heron Street Motors"})
    store.close()
    file.write_text("no longer read", "utf-8")
    again = open_store(folder)
    assert again.settings.read().shop.name == "Heron Street Motors"
    again.close()


def test_the_command_sets_and_shows(tmp_path):
    assert ohmbath("set", "shop_name", "Heron Street Garage", data=tmp_path).exit_code == 0
    shown = ohmbath("show", data=tmp_path).output
    assert "Heron Street Garage" in shown
    assert all(setting.name in shown for setting in SETTINGS)
    refused = ohmbath("set", "time_zone", "Nowhere/Town", data=tmp_path)
    assert refused.exit_code == 2
    assert "Europe/Athens" in refused.output


# Known from outside the database: India is +5:30 all year, New York -5 in January and -4 in July.
@pytest.mark.parametrize(
    ("zone", "moment", "shown"),
    [
        ("Asia/Kolkata", datetime(2026, 1, 1, 20, 0, tzinfo=UTC), "2026-01-02 01:30 UTC+05:30"),
        ("America/New_York", datetime(2026, 1, 15, 12, 0, tzinfo=UTC), "2026-01-15 07:00 UTC-05:00"),
        ("America/New_York", datetime(2026, 7, 15, 12, 0, tzinfo=UTC), "2026-07-15 08:00 UTC-04:00"),
    ],
)
def test_a_time_is_shown_as_the_shops_wall_clock_has_it(zone, moment, shown):
    assert local_time(moment.timestamp(), ZoneInfo(zone)) == shown
    assert local_day(moment.timestamp(), ZoneInfo(zone)).isoformat() == shown[:10]


def test_an_interval_ends_on_the_same_day_of_a_later_month_or_on_its_last():
    assert months_later(date(2026, 3, 1), 12) == date(2027, 3, 1)
    assert months_later(date(2024, 2, 29), 12) == date(2025, 2, 28)
    assert months_later(date(2026, 8, 31), 6) == date(2027, 2, 28)


# As above; Kathmandu is +5:45 all year, Newfoundland -3:30 in winter.
@pytest.mark.parametrize(
    ("zone", "shown"),
    [
        ("Asia/Kathmandu", "2026-01-15 17:45 UTC+05:45"),
        ("America/St_Johns", "2026-01-15 08:30 UTC-03:30"),
        ("UTC", "2026-01-15 12:00 UTC"),
        ("UTC-03:30", "2026-01-15 08:30 UTC-03:30"),
        ("UTC+05:45", "2026-01-15 17:45 UTC+05:45"),
    ],
)
def test_a_run_keeps_its_zone_by_name_or_by_offset(zone, shown):
    assert local_time(datetime(2026, 1, 15, 12, 0, tzinfo=UTC).timestamp(), kept_zone(zone)) == shown


def test_where_no_zone_is_set_a_run_keeps_the_offset_of_its_machine():
    now_s = datetime(2026, 1, 15, 12, 0, tzinfo=UTC).timestamp()
    assert local_time(now_s, kept_zone(zone_to_keep("", now_s))) == local_time(now_s, None)


def test_a_span_over_the_change_of_clocks_says_both_offsets():
    # Berlin goes from +2 to +1 at 01:00 UTC on the last Sunday of October (directive 2000/84/EC).
    first, last = (datetime(2026, 10, 25, hour, 30, tzinfo=UTC).timestamp() for hour in (0, 1))
    berlin = ZoneInfo("Europe/Berlin")
    assert local_span(first, last, berlin) == "2026-10-25 02:30 UTC+02:00 to 2026-10-25 02:30 UTC+01:00"
    assert local_span(first, first + 60.0, berlin) == "2026-10-25 02:30 to 2026-10-25 02:31 UTC+02:00"
