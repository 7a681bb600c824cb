"""Which press is which deed in the audit list: one entry for every route that changes something."""

from collections.abc import Mapping
from urllib.parse import urlsplit

from flask import Flask, Response, request

from host.people.deed import Deed
from host.web.audit_note import note

#: Deed of each page that takes a press, by its endpoint.
DEED_OF: Mapping[str, Deed] = {
    "stations.start_sender_check": Deed.RUN_STARTED,
    "typed.check": Deed.RUN_STARTED,
    "in_place.start": Deed.RUN_STARTED,
    "runs.press": Deed.RUN_PRESSED,
    "runs.curve": Deed.CURVE_CHOSEN,
    "typed.curve": Deed.CURVE_CHOSEN,
    "runs.hands": Deed.RUN_HELPED,
    "runs.stop": Deed.RUN_STOPPED,
    "runs.plateaus": Deed.RUN_STARTED,
    "student.begin": Deed.RUN_STARTED,
    "student.press": Deed.RUN_PRESSED,
    "student.hands": Deed.RUN_HELPED,
    "student.stop": Deed.RUN_STOPPED,
    "exercises.make": Deed.EXERCISE_CHANGED,
    "exercises.assign": Deed.EXERCISE_CHANGED,
    "exercises.plant": Deed.EXERCISE_CHANGED,
    "exercises.mark": Deed.EXERCISE_CHANGED,
    "exercises.close": Deed.EXERCISE_CHANGED,
    "student.answer": Deed.EXERCISE_ANSWERED,
    "channel.certify": Deed.RUN_STARTED,
    "channel.start": Deed.RUN_STARTED,
    "in_place.read": Deed.RUN_PRESSED,
    "in_place.skip": Deed.RUN_PRESSED,
    "in_place.strike": Deed.RUN_PRESSED,
    "in_place.finish": Deed.RUN_FINISHED,
    "in_place.stop": Deed.RUN_STOPPED,
    "infrared.start": Deed.RUN_STARTED,
    "witness_check.start": Deed.RUN_STARTED,
    "witness_check.read": Deed.RUN_PRESSED,
    "witness_check.hands": Deed.RUN_HELPED,
    "probe_check.check": Deed.RUN_STARTED,
    "meter_check.check": Deed.RUN_STARTED,
    "meter_check.finish": Deed.RUN_FINISHED,
    "meter_check.register": Deed.REGISTER_CHANGED,
    "infrared.go_on": Deed.RUN_PRESSED,
    "infrared.shot": Deed.RUN_PRESSED,
    "infrared.answer": Deed.RUN_PRESSED,
    "infrared.hands": Deed.RUN_HELPED,
    "infrared.stop": Deed.RUN_STOPPED,
    "infrared.register": Deed.REGISTER_CHANGED,
    "rounds.start": Deed.RUN_STARTED,
    "rounds.take": Deed.RUN_PRESSED,
    "rounds.take_run": Deed.RUN_PRESSED,
    "rounds.read": Deed.RUN_PRESSED,
    "rounds.clip_in": Deed.RUN_HELPED,
    "rounds.answer": Deed.RUN_PRESSED,
    "rounds.leave_out": Deed.RUN_PRESSED,
    "rounds.take_back": Deed.RUN_PRESSED,
    "rounds.close": Deed.RUN_FINISHED,
    "rounds.stop": Deed.RUN_STOPPED,
    "settings.change": Deed.SETTINGS_CHANGED,
    "settings.name_shop": Deed.SETTINGS_CHANGED,
    "pictures.add_photo": Deed.PHOTO_ADDED,
    "pictures.change_logo": Deed.SETTINGS_CHANGED,
    "register.add": Deed.REGISTER_CHANGED,
    "register.mark": Deed.REGISTER_CHANGED,
    "curves.add": Deed.CURVE_ADDED,
    "first_start.simulated": Deed.BENCH_STARTED,
    "first_start.stop_simulated": Deed.BENCH_STOPPED,
    "first_start.room": Deed.ROOM_STARTED,
    "first_start.stop_room": Deed.ROOM_STOPPED,
    "first_start.add_station": Deed.STATION_ADDED,
}
#: Those that write their own line, as only they know what came of it.
WRITES_ITS_OWN = frozenset(
    {
        "exercises.show",
        "roster.take",
        "sign_in.sign_in",
        "sign_in.sign_out",
        "sign_in.pin",
        "sign_in.unpin",
        "sign_in.change_password",
        "people.add",
        "people.roles",
        "people.able",
        "people.password",
        "drafts.let_out",
        "drafts.send_back",
        "certificates.withdraw",
        "certificates.change",
    }
)
#: Those that change nothing: somebody asks about a paper.
LEAVES_NOTHING = frozenset({"verify.file", "verify.number"})
#: A press that was taken leads on; a page in answer is a refusal, or the same form with more rows.
_DONE = range(300, 400)


def write_down_deeds(app: Flask) -> None:
    """Have every press that was taken written down, in the name of who pressed."""
    app.after_request(_write_down)


def _write_down(response: Response) -> Response:
    deed = DEED_OF.get(request.endpoint or "")
    if deed is not None and request.method == "POST" and response.status_code in _DONE:
        note(deed, _subject(response))
    return response


def _subject(response: Response) -> str:
    """Where it led: a run's or an instrument's own page says which one it was."""
    return urlsplit(response.location).path if response.location else request.path
