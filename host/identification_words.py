"""What a ranking of curves comes to, in one sentence."""

from calibration.identification import Identification


def identification_sentence(found: Identification) -> str:
    """The likeliest curve, those it cannot be told from, or none of these."""
    if found.none_is_likeliest:
        return "More likely none of these: check the points, or add a curve from the service manual."
    likeliest, *others = (candidate.curve for candidate in found.not_told_apart)
    if not others:
        return f"Most likely {likeliest}."
    return f"Most likely {likeliest}; these points cannot tell it from {', '.join(others)}."
