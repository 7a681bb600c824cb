"""Whether a loop tells the lags from the curve, and what it lacks where it does not."""

from calibration.bath.heating import Heating

#: Largest product of the lag's standard uncertainty and the heating rate. [K]
LARGEST_LAG_DOUBT_K = 0.03

#: Half-width of the lag that a further body in the sender hides from the fit. Worked out in simulation. [s]
MODEL_DOUBT_S = 0.3

#: Programme of a loop: rate, pauses, top. [K/min], [°C], [s]
SLOWEST_K_PER_MIN, FASTEST_K_PER_MIN = 3.0, 12.0
PAUSES_NEAR_C = (38.0, 56.0, 76.0)
SHORTEST_PAUSE_S = 75.0
PAUSE_IN_LAGS = 4.0
SHORTEST_TOP_S = 120.0
LARGEST_START_SLOPE_K_PER_MIN = 0.3
# Read from the probe, which lags, a pause looks a little shorter than it was.
_NEARLY = 0.8


def pause_for_s(sender_lag_s: float) -> float:
    """How long the heater rests at each pause. [s]"""
    return max(SHORTEST_PAUSE_S, PAUSE_IN_LAGS * sender_lag_s)


def missing_of(heating: Heating, *, sender_lag_s: float) -> tuple[str, ...]:
    """What a loop lacks of its programme, in words for the next one; nothing where it lacks nothing.

    Parameters
    ----------
    heating : Heating
    sender_lag_s : float
        As far as it is known. [s]
    """
    found = []
    if abs(heating.start_slope_k_per_min) > LARGEST_START_SLOPE_K_PER_MIN:
        found.append(
            f"start from rest: the bath moved by {heating.start_slope_k_per_min:+.1f} K/min at the start, "
            f"the limit is {LARGEST_START_SLOPE_K_PER_MIN:g}"
        )
    if heating.rate_k_per_min > FASTEST_K_PER_MIN:
        found.append(
            f"heat more slowly: {heating.rate_k_per_min:.1f} K/min, the limit is {FASTEST_K_PER_MIN:g}"
        )
    found += _missing_pauses(heating, pause_for_s(sender_lag_s))
    if heating.top_s < _NEARLY * SHORTEST_TOP_S:
        found.append(
            f"stay at the top with the heater off for {SHORTEST_TOP_S:g} s: it was {heating.top_s:.0f} s"
        )
    return tuple(found)


def _missing_pauses(heating: Heating, length_s: float) -> list[str]:
    near = " °C, ".join(f"{at_c:g}" for at_c in PAUSES_NEAR_C)
    if not heating.pauses:
        return [f"no pause: switch the heater off for {length_s:.0f} s near {near} °C"]
    words = []
    if len(heating.pauses) < len(PAUSES_NEAR_C):
        words.append(f"only {len(heating.pauses)} of {len(PAUSES_NEAR_C)} pauses: switch off near {near} °C")
    longest = max(pause.length_s for pause in heating.pauses)
    if longest < _NEARLY * length_s:
        words.append(f"pauses too short: the longest took {longest:.0f} s, {length_s:.0f} s are needed")
    return words
