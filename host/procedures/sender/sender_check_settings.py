"""What a sender check was started with; kept by value in its first event."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from datetime import tzinfo
from enum import StrEnum
from typing import Any

from calibration.conformity import DecisionRule, Verdict
from calibration.curves import ReferenceCurve, curve_from_toml, load_curve
from host.certificates.as_found import AsFound, FoundPoint
from host.curve_to_find import FIND_OUT, CurveChoice, stand_in_curve
from host.local_time import kept_zone
from host.procedures.ohms.reused_check import ReusedCheck

#: Ranges of the bench that a sender check uses; a test holds them and the wiring map together. [Ω]
SENDER_RANGES_OHM = (2700.0, 750.0)
PROBE_RANGE_OHM = 2700.0


class Course(StrEnum):
    """How the bath is taken through the set points."""

    PLATEAUS = "plateaus"
    LOOP = "loop"


#: A version is raised whenever code changes a number that a result depends on.
METHOD = "sender check on plateaus"
METHOD_VERSION = "4"
LOOP_METHOD = "sender check by one heating with rests"
LOOP_METHOD_VERSION = "2"


@dataclass(frozen=True, slots=True, kw_only=True)
class SenderCheckSettings:
    """What a sender check was started with.

    Later versions add fields with defaults, so that the events of every older run can be read.

    Attributes
    ----------
    station : str
    item, customer, operator : str
        Who and what, as typed.
    customer_contact, place, received : str
        How the customer is reached, where the work is done if elsewhere, the day the sender came in; empty
        where nobody said.
    curve, curve_hash : str
        Reference curve by name and by the hash of its content; `FIND_OUT` until one is chosen.
    curve_text : str
        The curve's TOML by value; runs of method version 1 have none and follow the library's by its name.
    rule : str
        Decision rule, a word of `DecisionRule`.
    limit_k : float or None
        Limit in place of the curve's own tolerance. [K]
    set_points_c : tuple[float, ...]
        Plateaus, rising. [°C]
    immersion : str
        Key of `calibration.bath.immersion.IMMERSIONS`.
    gradient_half_width_k : float
        Declared uniformity of the bath. [K]
    probe, decade_box : Mapping[str, Any]
        Snapshot of the register.
    sender_ranges_ohm : tuple[float, ...]
        Ranges of the sender channel to be checked. [Ω]
    probe_range_ohm : float
        Range of the probe channel. [Ω]
    ohms_check : ReusedCheck or None
        Ohms check of an earlier run that serves this one; None where this run makes its own.
    as_left_of : Mapping[str, Any] or None
        The first check, by value, where this is the second one of the same sender: ``run`` and what
        `AsFound` says.
    set_up : tuple[str, ...]
        Steps of setting up after the sender is fitted, keys of `SET_UP_STEPS`.
    trials : tuple[str, ...]
        What is changed on purpose at the hottest plateau, words of `Trial`.
    move_connector : bool
        Whether bursts are read at the end while the connector is moved.
    job, wiring, connector_notes : str
        The job in the shop's own words; how the sender is wired; how its connector looks.
    time_zone : str
        The shop's when it began, by name or offset: card and certificate say times in it.
    curve_choice : CurveChoice or None
        Where the curve was chosen from readings: of this run, or of the first check of the same sender.
    course : Course
        Plateaus, or one loop; every run before version 0.2.0 went by plateaus.
    witness : Mapping[str, Any]
        Register entry of the station's 1-wire witness; empty where it speaks as bought.
    infrared : Mapping[str, Any]
        The same of its infrared sensor.
    exercise : int or None
        Exercise that the run belongs to: a fault is planted, and no certificate comes of it.
    """

    station: str
    item: str
    curve: str
    curve_hash: str
    rule: str
    limit_k: float | None
    set_points_c: tuple[float, ...]
    probe: Mapping[str, Any]
    decade_box: Mapping[str, Any]
    curve_text: str = ""
    customer: str = ""
    operator: str = ""
    immersion: str = "hex_under_water"
    gradient_half_width_k: float = 0.06
    sender_ranges_ohm: tuple[float, ...] = SENDER_RANGES_OHM
    probe_range_ohm: float = PROBE_RANGE_OHM
    ohms_check: ReusedCheck | None = None
    as_left_of: Mapping[str, Any] | None = None
    set_up: tuple[str, ...] = ()
    trials: tuple[str, ...] = ()
    move_connector: bool = False
    job: str = ""
    wiring: str = ""
    connector_notes: str = ""
    curve_choice: CurveChoice | None = None
    time_zone: str = "UTC"
    course: Course = Course.PLATEAUS
    exercise: int | None = None
    customer_contact: str = ""
    place: str = ""
    received: str = ""
    witness: Mapping[str, Any] = field(default_factory=dict)
    infrared: Mapping[str, Any] = field(default_factory=dict)
    method_version: str = METHOD_VERSION

    @property
    def zone(self) -> tzinfo:
        """Zone in which times are said."""
        return kept_zone(self.time_zone)

    @property
    def is_to_be_found_out(self) -> bool:
        """Whether no curve is chosen yet."""
        return self.curve == FIND_OUT

    @property
    def decision_rule(self) -> DecisionRule:
        """Decision rule of the run."""
        return DecisionRule(self.rule)

    @property
    def reference_curve(self) -> ReferenceCurve:
        """The curve the sender is meant to follow; one that stands in while it is not known."""
        if self.is_to_be_found_out:
            return stand_in_curve()
        if self.curve_text:
            return curve_from_toml(self.curve_text, name=self.curve)
        return load_curve(self.curve)

    @property
    def as_found(self) -> AsFound | None:
        """The first check of this sender, where this is the second."""
        if self.as_left_of is None:
            return None
        found = self.as_left_of
        return AsFound(
            number=found["number"],
            measured=found["measured"],
            verdict=Verdict(found["verdict"]),
            points=tuple(
                FoundPoint(**{**point, "verdict": Verdict(point["verdict"])}) for point in found["points"]
            ),
            done=found["done"],
        )

    def as_json(self) -> dict[str, Any]:
        """For the first event."""
        content = asdict(self)
        content["ohms_check"] = None if self.ohms_check is None else self.ohms_check.as_json()
        return content

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> "SenderCheckSettings":
        """From the first event."""
        known = {field.name for field in fields(cls)}
        kept = {name: value for name, value in content.items() if name in known}
        for name in ("set_points_c", "sender_ranges_ohm", "set_up", "trials"):
            kept[name] = tuple(kept.get(name, ()))
        kept["course"] = Course(kept.get("course", Course.PLATEAUS))
        if kept.get("ohms_check") is not None:
            kept["ohms_check"] = ReusedCheck.from_json(kept["ohms_check"])
        if kept.get("curve_choice") is not None:
            kept["curve_choice"] = CurveChoice.from_json(kept["curve_choice"])
        return cls(**kept)
