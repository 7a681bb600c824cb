"""Who else says how warm the bath was at a temperature of a sender check, and whether they agree."""

import math
from collections.abc import Sequence

from calibration.bath.settling import SLOPE_LIMIT_K_PER_MIN
from calibration.bench_point import BenchPoint
from calibration.contract.readings import ReadingPack
from calibration.rounding import two_digits
from host.certificates.certificate import CertifiedPoint, Witness
from host.certificates.printed import signed_text
from host.procedures.sender.plateau_of_packs import mean_of
from host.procedures.sender.sender_check_settings import SenderCheckSettings
from host.witnesses import (
    ONE_WIRE,
    PROBE,
    SENDER,
    WITNESS_LAG_S,
    CertifiedWitness,
    infrared_witness,
    one_wire_witness,
)

#: How far the 1-wire witness may stay behind a bath that counts as settled. [K]
WITNESS_LAG_K = WITNESS_LAG_S / 60.0 * SLOPE_LIMIT_K_PER_MIN


def witnesses_of(
    judged: BenchPoint,
    packs: Sequence[ReadingPack],
    settings: SenderCheckSettings,
    beyond_k: float = 0.0,
) -> tuple[Witness, ...]:
    """Strip of one temperature, the probe first and the sender last.

    Parameters
    ----------
    judged : BenchPoint
    packs : sequence of ReadingPack
        That were held there.
    settings : SenderCheckSettings
    beyond_k : float
        How far the temperature lies above the bath of those readings. [K]
    """
    found = [Witness(name=PROBE, temperature_c=judged.probe_c, expanded_u_k=2.0 * judged.probe_u_k)]
    witness_c, infrared_c = mean_of(packs, "witness"), mean_of(packs, "infrared")
    if witness_c is not None:
        own = CertifiedWitness.of(settings.witness)
        said = one_wire_witness(witness_c + beyond_k, own, lag_half_width_k=WITNESS_LAG_K)
        found.append(said.witness)
    if infrared_c is not None:
        sensor = CertifiedWitness.of(settings.infrared)
        seen = infrared_witness(infrared_c + beyond_k, sensor, cell_emissivity=_cell_emissivity(packs))
        found.append(seen.witness)
    point = judged.point
    found.append(Witness(name=SENDER, temperature_c=point.indicated_c, expanded_u_k=point.expanded_u_k))
    return tuple(found)


def _cell_emissivity(packs: Sequence[ReadingPack]) -> float | None:
    """What the sensor's cell held all the time; None where it was written meanwhile, or nobody says."""
    held = {pack.infrared_emissivity for pack in packs}
    return held.pop() if len(held) == 1 else None


def witness_words(settings: SenderCheckSettings, packs: Sequence[ReadingPack]) -> tuple[tuple[str, str], ...]:
    """Witnesses among the conditions, where their own corrections held."""
    one_wire, sensor = (CertifiedWitness.of(entry) for entry in (settings.witness, settings.infrared))
    if sensor is not None and not sensor.holds_at(_cell_emissivity(packs)):
        sensor = None
    known = ((ONE_WIRE, one_wire), ("infrared sensor", sensor))
    return tuple(
        (name, f"{own.serial}, corrected by {own.certificate}") for name, own in known if own is not None
    )


def disagreements_of(points: Sequence[CertifiedPoint], settings: SenderCheckSettings) -> tuple[str, ...]:
    """Where probe and witness do not agree though each is corrected: then one of them has changed."""
    own = CertifiedWitness.of(settings.witness)
    if own is None:
        return ()
    found = (_disagreement(point.witnesses, own) for point in points)
    return tuple(words for words in found if words)


def _disagreement(witnesses: Sequence[Witness], own: CertifiedWitness) -> str:
    by_name = {witness.name: witness for witness in witnesses}
    probe, witness = by_name[PROBE], by_name.get(ONE_WIRE)
    if witness is None:
        return ""
    apart_k = witness.temperature_c - probe.temperature_c
    u_k = math.hypot(witness.expanded_u_k, probe.expanded_u_k)
    if abs(apart_k) <= u_k:
        return ""
    apart = signed_text(apart_k, 2)
    return (
        f"At {probe.temperature_c:.0f} °C the 1-wire witness {own.serial} stands {apart} K from "
        f"the probe, each by its own corrections; up to {two_digits(u_k)} K (the U of both) would be "
        "agreement. One of the two has changed: check both before the next run."
    )
