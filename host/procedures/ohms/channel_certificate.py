"""The certificate of a station's resistance channel, from the ohms check that a run has passed.

What is needed stands by value in the settings of a run of its own: plan, cited readings, and the decade box's
certificate; so it can be worked out again without the run that made the check.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from calibration.conformity import DecisionRule, overall_verdict
from calibration.contract.readings import Insertion, ReadingPack
from calibration.resistance.ohms_check import BoxReading, RangeCorrection, correction_from_box
from calibration.rounding import two_digits
from host.certificates.bodies.ohms import CertifiedOhms, OhmsBody, channel_points
from host.certificates.certificate import Certificate
from host.certificates.kind import Kind
from host.citation import joined
from host.equivalent_kelvin import EQUIVALENT_WORDS, k_per_ohm
from host.local_time import kept_zone
from host.procedures.bench_setup import CHANNEL_OF, ReadingsOf, decade_box_of, raw_count
from host.procedures.ohms.reused_check import ReusedCheck
from host.procedures.sender.plateau_of_packs import mean_of
from host.procedures.sender.sender_result import box_used, measured_words
from host.shop import Shop
from host.software_versions import software_versions
from host.verdict_words import RULE_WORDS

METHOD_VERSION = "2"
#: Largest error as left that is in tolerance, of the value: some 0.05 to 0.08 K on a coolant sender. A choice
#: of ours. [1]
LIMIT_RELATIVE = 0.002
REMARKS = (
    "The correction is a quadratic in the ratio count, from these settings; the bench applies it to every "
    "reading of a run that rests on this check.",
    "U holds what the correction leaves: the converter's local nonlinearity, from what the fit left over.",
)
NOT_DONE = ("Nothing is stated beyond the lowest and the highest setting of a range.",)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelSettings:
    """What a certificate of a channel rests on, by value.

    Attributes
    ----------
    station, operator : str
    decade_box : Mapping[str, Any]
        Register content.
    check : ReusedCheck
        The ohms check that was passed.
    time_zone : str
        The shop's zone in which its times are said; UTC in runs of before it was kept.
    """

    station: str
    operator: str
    decade_box: Mapping[str, Any]
    check: ReusedCheck
    time_zone: str = "UTC"

    @property
    def item(self) -> str:
        """As printed."""
        return f"resistance channel of {self.station}"

    def as_json(self) -> dict[str, Any]:
        """For the first event."""
        return {
            "item": self.item,
            "station": self.station,
            "operator": self.operator,
            "decade_box": dict(self.decade_box),
            "check": self.check.as_json(),
            "time_zone": self.time_zone,
        }

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> "ChannelSettings":
        """From the first event."""
        return cls(
            station=content["station"],
            operator=content["operator"],
            decade_box=content["decade_box"],
            check=ReusedCheck.from_json(content["check"]),
            time_zone=content.get("time_zone", "UTC"),
        )


def channel_certificate(
    settings: ChannelSettings, readings_of: ReadingsOf, *, number: str, shop: Shop, run: int
) -> Certificate:
    """Certificate of a channel.

    Raises
    ------
    OhmsCheckError
        If a range is out of its limit.
    """
    packs_of = [readings_of(citation) for citation in settings.check.box_read]
    packs = [pack for some in packs_of for pack in some]
    points, words = _points(settings, packs_of)
    rule = DecisionRule.GUARDED
    return Certificate(
        number=number,
        issued=datetime.now(UTC).date().isoformat(),
        measured=measured_words(packs, kept_zone(settings.time_zone)),
        shop=shop.name,
        shop_address=shop.address,
        item=settings.item,
        customer="",
        sentence=sentence_of(points, station=settings.station),
        method=f"Ohms check against a decade box, version {METHOD_VERSION} (run {run:04d})",
        body=OhmsBody(kind=Kind.OHMS_CHANNEL, correction_words=words, points=points),
        simulated=any(pack.simulated for pack in packs),
        verdict=overall_verdict([point.verdict for point in points if point.verdict is not None]),
        rule=rule,
        rule_words=RULE_WORDS[rule],
        instruments=(box_used(settings.decade_box),),
        conditions=_conditions(settings, packs),
        remarks=(*REMARKS, EQUIVALENT_WORDS),
        not_done=NOT_DONE,
        citations=tuple(cited.words() for cited in joined(settings.check.box_read)),
        software=software_versions(),
        operator=settings.operator,
    )


def _points(
    settings: ChannelSettings, packs_of: Sequence[Sequence[ReadingPack]]
) -> tuple[tuple[CertifiedOhms, ...], tuple[str, ...]]:
    """Points of every range in the order of the plan, and what was corrected on each."""
    box = decade_box_of(settings.decade_box)
    read: dict[tuple[Insertion, float], list[BoxReading]] = {}
    for setting, packs in zip(settings.check.plan, packs_of, strict=True):
        counts = [raw_count(pack, CHANNEL_OF[setting.insertion]) for pack in packs]
        reading = BoxReading(setting_ohm=setting.setting_ohm, count=math.fsum(counts) / len(counts))
        read.setdefault((setting.insertion, setting.range_ohm), []).append(reading)
    points: list[CertifiedOhms] = []
    words = []
    for (insertion, range_ohm), readings in read.items():
        correction = correction_from_box(readings, reference_ohm=range_ohm, certificate=box)
        name = f"{CHANNEL_OF[insertion]}, {range_ohm:g} Ω"
        points.extend(
            channel_points(
                readings,
                correction,
                box,
                range_words=name,
                limit_relative=LIMIT_RELATIVE,
                k_per_ohm_at=k_per_ohm,
            )
        )
        words.append(_correction_words(name, correction))
    return tuple(points), tuple(words)


def _correction_words(name: str, correction: RangeCorrection) -> str:
    c0, c1, c2 = correction.coefficients
    return (
        f"{name}: {c0:+.3f} {c1:+.3f} z {c2:+.3f} z² counts of 4096, z = 2 R/(R + R_ref) - 1, "
        f"left over {correction.remainder_count:.3f} counts with {correction.degrees_of_freedom} d.o.f."
    )


def sentence_of(points: Sequence[CertifiedOhms], *, station: str) -> str:
    """One sentence on a whole check."""
    found = max(
        abs(point.found_ohm / point.true_ohm - 1.0) for point in points if point.found_ohm is not None
    )
    left = max(point.expanded_u_ohm / point.true_ohm for point in points)
    return (
        f"Before its correction {station} read resistances wrong by up to "
        f"{two_digits(100.0 * found)} %; with it they are known to {two_digits(100.0 * left)} % or better."
    )


def _conditions(settings: ChannelSettings, packs: Sequence[ReadingPack]) -> tuple[tuple[str, str], ...]:
    air_c = mean_of(packs, "ambient")
    return (
        ("air", "not read" if air_c is None else f"{air_c:.0f} °C beside the bath"),
        ("station", settings.station),
        ("ohms check", f"of run {settings.check.run:04d}"),
    )
