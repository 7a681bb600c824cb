"""A sender check without a rig: readings typed by hand, judged and certified in one go.

The same judgement as `ohmbath check`, kept as a run: what was typed stands in its first event by value, so
that the result can be worked out again from there.
"""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date
from enum import StrEnum
from typing import Any

from calibration.conformity import DecisionRule
from calibration.curves import ReferenceCurve, curve_from_toml
from calibration.errors import CalibrationError, CurveError
from host.certificates.certificate import Certificate
from host.certificates.chosen_curve import with_chosen_curve
from host.curve_choice import text_of_curve
from host.curve_to_find import FIND_OUT, CurveChoice
from host.errors import DeskError
from host.points_file import points_of
from host.procedures.authorisation import let_out
from host.procedures.event import Event
from host.procedures.logged import SENT_TWICE_WITHIN_S, events_of_kind
from host.procedures.run_kind import RunKind
from host.procedures.sender.curve_finding import (
    LEAST_POINTS,
    ChoiceError,
    CurvesFound,
    curves_of_typed_points,
)
from host.registered_meter import NamedMeter
from host.shop import Shop
from host.store import Store
from host.store.runs import EventAfter
from host.typed_certificate import typed_certificate
from host.typed_check import (
    ASSUMED_U_RESISTANCE_PERCENT,
    ASSUMED_U_TEMPERATURE_K,
    Assumption,
    TypedCheck,
    check_typed_points,
    points_as_read,
)

FILE_NAME = "typed at the desk"


class Kind(StrEnum):
    """Events of a hand check."""

    STARTED = "started"  # settings
    CURVE_CHOSEN = "curve_chosen"  # a `CurveChoice`
    RESULT = "result"  # certificate and pdf_sha256, or draft


@dataclass(frozen=True, slots=True, kw_only=True)
class HandCheckSettings:
    """What was typed; kept by value in the first event.

    Attributes
    ----------
    item, customer, customer_contact, place, received, operator, job : str
    curve, curve_toml : str
        Reference curve by name and by value; `FIND_OUT` and nothing until one is chosen.
    rule : str
        Decision rule, a word of `DecisionRule`.
    limit_k : float or None
        Limit in place of the curve's own tolerance. [K]
    u_temperature_k, u_resistance_percent : float or None
        Standard uncertainties as stated; None: assumed. [K], [%]
    points_csv : str
        The points as a points file.
    typed : tuple[tuple[str, str], ...]
        The same as they were typed, to type them again.
    curve_choice : CurveChoice or None
        Where the curve was chosen from these readings.
    meter : Mapping[str, Any] or None
        Register entry of the meter, where one was named: it corrects the resistances.
    leads_ohm : float or None
        What that meter showed with its leads joined; None where nobody looked. [Ω]
    """

    item: str
    curve: str
    curve_toml: str
    rule: str
    points_csv: str
    limit_k: float | None = None
    u_temperature_k: float | None = None
    u_resistance_percent: float | None = None
    typed: tuple[tuple[str, str], ...] = ()
    customer: str = ""
    operator: str = ""
    job: str = ""
    curve_choice: CurveChoice | None = None
    meter: Mapping[str, Any] | None = None
    leads_ohm: float | None = None
    customer_contact: str = ""
    place: str = ""
    received: str = ""

    @property
    def named_meter(self) -> NamedMeter | None:
        """The meter, where one was named."""
        return None if self.meter is None else NamedMeter(content=self.meter, leads_ohm=self.leads_ohm)

    @property
    def is_to_be_found_out(self) -> bool:
        """Whether no curve is chosen yet."""
        return self.curve == FIND_OUT

    @property
    def reference(self) -> ReferenceCurve:
        """The curve itself."""
        return curve_from_toml(self.curve_toml, name=self.curve)

    def as_json(self) -> dict[str, Any]:
        """For the first event."""
        return asdict(self)

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> "HandCheckSettings":
        """From the first event."""
        kept = {name: content[name] for name in cls.__dataclass_fields__ if name in content}
        kept["typed"] = tuple((str(one), str(other)) for one, other in kept.get("typed", ()))
        if kept.get("curve_choice") is not None:
            kept["curve_choice"] = CurveChoice.from_json(kept["curve_choice"])
        return cls(**kept)

    def judged_against(self, choice: CurveChoice) -> "HandCheckSettings":
        """The same readings, with a curve chosen from them."""
        return replace(
            self,
            curve=choice.curve,
            curve_toml=choice.curve_text,
            limit_k=choice.limit_k,
            curve_choice=choice,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class HandCheckView:
    """A hand check as a page shows it.

    Attributes
    ----------
    run : int
    settings : HandCheckSettings
    certificate : str or None
        Number of the one that was issued at once.
    draft : int or None
        Draft that was kept instead; None of both where no curve is chosen yet, or the desk was killed before.
    station : None
        It was read at none.
    """

    run: int
    settings: HandCheckSettings
    certificate: str | None
    draft: int | None = None
    station: None = None

    @property
    def is_over(self) -> bool:
        """Tell whether its paper was made."""
        return self.certificate is not None or self.draft is not None


def judged(settings: HandCheckSettings) -> TypedCheck:
    """Judge what was typed.

    Raises
    ------
    PointsFileError
        If a point cannot be judged; names its row, the first point being row 2.
    CurveError
        If the curve has no tolerance and no limit is given.
    """
    return check_typed_points(
        points_of(settings.points_csv.encode("utf-8"), name=FILE_NAME),
        curve=settings.reference,
        rule=DecisionRule(settings.rule),
        limit_k=settings.limit_k,
        assumption=_assumption(settings),
        meter=settings.named_meter,
    )


class HandChecks:
    """Hand checks of one store."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def with_curve(self, curve: str, **typed: Any) -> HandCheckSettings:
        """Settings with the curve of a name by value.

        Raises
        ------
        CurveError
            If there is none of that name.
        """
        text = "" if curve == FIND_OUT else text_of_curve(curve, self._store.curves)
        return HandCheckSettings(curve=curve, curve_toml=text, **typed)

    def issue(self, settings: HandCheckSettings, check: TypedCheck, *, shop: Shop, today: date) -> int:
        """Keep a check as a run and issue its certificate; the run's number.

        Parameters
        ----------
        settings : HandCheckSettings
        check : TypedCheck
            The same, judged.
        shop : Shop
        today : date
            In the shop.

        Raises
        ------
        DeskError
            If there is no result to certify.
        """
        if check.verdict is None:
            raise DeskError(check.reason)
        run = self.open(settings)
        self._certify(run, settings, check, shop, today, after=1)
        return run

    def open(self, settings: HandCheckSettings) -> int:
        """Keep what was typed as a run that has no result yet; the run's number."""
        run = self._store.runs.create(
            station=None,
            kind=RunKind.HAND_CHECK,
            settings=settings.as_json(),
            same_within_s=SENT_TWICE_WITHIN_S,
        )
        self._store.runs.append(run, Kind.STARTED, {"settings": settings.as_json()}, after=0)
        return run

    def curves_found(self, settings: HandCheckSettings) -> CurvesFound:
        """Curves ranked for what was typed.

        Raises
        ------
        DeskError
            If fewer than two resistances were read, or none can be ranked.
        """
        file = points_of(settings.points_csv.encode("utf-8"), name=FILE_NAME)
        points = points_as_read(file, _assumption(settings), settings.named_meter)
        if len({point.temperature_c for point in points}) < LEAST_POINTS:
            raise DeskError("To find out the curve takes resistances at two temperatures or more, far apart.")
        try:
            return curves_of_typed_points(points, self._store)
        except CurveError as error:
            raise DeskError(str(error)) from error

    def choose_curve(self, run: int, choice: CurveChoice, *, shop: Shop, today: date) -> None:
        """Judge a run against a curve and issue its certificate; a choice that comes twice changes nothing.

        Raises
        ------
        ChoiceError
            If the readings cannot be judged against it.
        """
        settings = self.view(run).settings
        if not settings.is_to_be_found_out:
            return
        judged_settings = settings.judged_against(choice)
        try:
            check = judged(judged_settings)
        except (DeskError, CalibrationError) as error:
            raise ChoiceError("curve", str(error)) from error
        self._refuse_a_lost_meter(judged_settings, today)
        logged = self._store.runs.append(run, Kind.CURVE_CHOSEN, choice.as_json(), after=1)
        self._certify(run, judged_settings, check, shop, today, after=logged)

    def complete(self, run: int, *, shop: Shop, today: date) -> None:
        """Issue the certificate of a run that has none; again changes nothing."""
        view = self.view(run)
        if not view.is_over and not view.settings.is_to_be_found_out:
            self._refuse_a_lost_meter(view.settings, today)
            logged = 1 if view.settings.curve_choice is None else 2
            self._certify(run, view.settings, judged(view.settings), shop, today, after=logged)

    def _refuse_a_lost_meter(self, settings: HandCheckSettings, today: date) -> None:
        """It may have failed between the readings and their paper."""
        if settings.meter is not None:
            months = self._store.settings.read().recalibration_months
            self._store.register.refuse_if_lost(settings.meter, today=today, months_by_kind=months)

    def _certify(
        self,
        run: int,
        settings: HandCheckSettings,
        check: TypedCheck,
        shop: Shop,
        today: date,
        *,
        after: int,
    ) -> None:
        let_out(
            self._store,
            run,
            lambda number: hand_certificate(settings, check, number, shop, today),
            measured_by=settings.operator,
            event=EventAfter(kind=Kind.RESULT, after=after),
        )
        self._store.runs.end(run)

    def view(self, run: int) -> HandCheckView:
        """A hand check.

        Raises
        ------
        DeskError
            If there is none of that number.
        """
        events = events_of_kind(self._store, run, RunKind.HAND_CHECK, what="check typed by hand")
        return view_of(run, events)


def view_of(run: int, events: Iterable[Event]) -> HandCheckView:
    """View that a log of events leads to.

    Raises
    ------
    DeskError
        If it has no first event: the desk was killed before anything was kept.
    """
    settings, certificate, draft = None, None, None
    for event in events:
        match Kind(event.kind):
            case Kind.STARTED:
                settings = HandCheckSettings.from_json(event.payload["settings"])
            case Kind.CURVE_CHOSEN if settings is not None:
                settings = settings.judged_against(CurveChoice.from_json(event.payload))
            case Kind.RESULT:
                certificate, draft = event.payload["certificate"], event.payload.get("draft")
    if settings is None:
        raise DeskError(f"Run {run:04d} holds nothing: type the readings again.")
    return HandCheckView(run=run, settings=settings, certificate=certificate, draft=draft)


def _assumption(settings: HandCheckSettings) -> Assumption:
    stated_k, stated_percent = settings.u_temperature_k, settings.u_resistance_percent
    return Assumption(
        u_temperature_k=ASSUMED_U_TEMPERATURE_K if stated_k is None else stated_k,
        u_resistance_percent=ASSUMED_U_RESISTANCE_PERCENT if stated_percent is None else stated_percent,
        temperature_is_assumed=stated_k is None,
        resistance_is_assumed=stated_percent is None,
    )


def hand_certificate(
    settings: HandCheckSettings, check: TypedCheck, number: str, shop: Shop, today: date
) -> Certificate:
    """Certificate of a judged hand check."""
    said = (("read and typed by", settings.operator), ("job", settings.job))
    certificate = typed_certificate(
        check,
        issued=today,
        item=settings.item,
        shop=shop.name,
        shop_address=shop.address,
        customer=settings.customer,
        number=number,
        more_conditions=tuple((name, words) for name, words in said if words),
    )
    certificate = replace(
        certificate,
        customer_contact=settings.customer_contact,
        place=settings.place,
        received=settings.received,
    )
    if settings.curve_choice is not None:
        certificate = with_chosen_curve(certificate, settings.curve_choice.words)
    return certificate
