import math
import tomllib
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from GTC import type_b, ureal
from hypothesis import given
from hypothesis import strategies as st

from calibration.drift import DAYS_PER_YEAR, CertifiedValue, Drift, DriftError, drift_of, weighted_line

PUBLISHED = Path(__file__).parent / "published"
H3 = tomllib.loads((PUBLISHED / "jcgm100_h3.toml").read_text("utf-8"))
WEIGHTED = tomllib.loads((PUBLISHED / "gtc_weighted_line.toml").read_text("utf-8"))
H3_CHECKS = {check["quantity"]: check for check in H3["check"]}

FIRST = date(2020, 3, 1)


def certified(days: int, value: float, expanded_u: float = 0.02, k: float = 2.0) -> CertifiedValue:
    return CertifiedValue(on=FIRST + timedelta(days=days), value=value, expanded_u=expanded_u, k=k)


def test_a_published_weighted_line_comes_out_with_its_uncertainties():
    line = weighted_line(WEIGHTED["x"], WEIGHTED["y"], np.diag(np.square(WEIGHTED["u_y"])))
    assert line.slope == pytest.approx(WEIGHTED["slope"], abs=1e-12)
    assert line.standard_u_of_slope() == pytest.approx(WEIGHTED["u_slope"], abs=1e-12)
    assert line.value_at(0.0) == pytest.approx(WEIGHTED["intercept"], abs=1e-12)
    assert line.standard_u_at(0.0) == pytest.approx(WEIGHTED["u_intercept"], abs=1e-12)


def test_the_gum_thermometer_line_is_carried_on_as_the_gum_does():
    """The scatter the GUM finds is put in as the uncertainty of every value."""
    above_c = [reading - H3["reference_c"] for reading in H3["reading_c"]]
    s = math.sqrt(H3_CHECKS["residual sum of squares"]["value"] / H3["degrees_of_freedom"])
    line = weighted_line(above_c, H3["correction_c"], s**2 * np.eye(len(above_c)))
    found = {
        "intercept": line.value_at(0.0),
        "u of intercept": line.standard_u_at(0.0),
        "slope": line.slope,
        "u of slope": line.standard_u_of_slope(),
        "correction at 30 °C": line.value_at(10.0),
        "u of correction at 30 °C": line.standard_u_at(10.0),
    }
    for quantity, value in found.items():
        check = H3_CHECKS[quantity]
        assert value == pytest.approx(check["value"], abs=check["tolerance"]), quantity
    assert line.birge_ratio == pytest.approx(1.0, rel=1e-9)


def test_values_that_share_an_error_are_fitted_as_a_reference_library_fits_them():
    years = np.array([0.0, 1.1, 1.9, 3.2, 4.0])
    values = np.array([0.01, 0.03, 0.02, 0.05, 0.06])
    u = np.array([0.02, 0.01, 0.015, 0.01, 0.02])
    covariance = np.diag(u**2) + 0.008**2
    line = weighted_line(years, values, covariance)
    known = sm.GLS(values, sm.add_constant(years - line.middle), sigma=covariance).fit(cov_type="fixed scale")
    assert [line.level, line.slope] == pytest.approx(known.params, rel=1e-10)
    assert line.covariance == pytest.approx(known.cov_params(), rel=1e-9)


def test_a_history_of_certificates_drifts_as_two_reference_libraries_say():
    history = [certified(0, 0.00, 0.05), certified(370, 0.03, 0.04), certified(730, 0.05, 0.06, k=3.0)]
    drift = drift_of(history)
    years = [0.0, 370 / DAYS_PER_YEAR, 730 / DAYS_PER_YEAR]
    known = sm.WLS(
        [value.value for value in history],
        sm.add_constant(np.array(years)),
        weights=[value.standard_u**-2 for value in history],
    ).fit(cov_type="fixed scale")
    assert drift.per_year == pytest.approx(known.params[1], rel=1e-10)
    assert drift.expanded_u_per_year == pytest.approx(2.0 * known.bse[1], rel=1e-9)
    fit = type_b.line_fit_wls(years, [ureal(value.value, value.standard_u) for value in history])
    today = date(2023, 3, 1)
    at = fit.intercept + fit.slope * ((today - FIRST).days / DAYS_PER_YEAR)
    assert drift.value_on(today) == pytest.approx(at.x, rel=1e-10)
    assert drift.expanded_u_on(today) == pytest.approx(2.0 * at.u, rel=1e-9)


@given(st.floats(-0.2, 0.2), st.floats(-5.0, 5.0), st.permutations(range(4)))
def test_certificates_on_a_line_give_that_line_back_in_whatever_order(per_year, level, order):
    history = [certified(200 * n, level + per_year * 200 * n / DAYS_PER_YEAR) for n in order]
    drift = drift_of(history)
    assert drift.per_year == pytest.approx(per_year, abs=1e-9)
    assert drift.line.birge_ratio < 1e-6
    assert not drift.scatters


def expanded_u_for(drift: Drift, days: int) -> float:
    return drift.expanded_u_on(FIRST + timedelta(days=days))


def test_what_certificates_of_one_laboratory_share_is_not_averaged_away():
    """Between nothing and everything in common the variance is linear: the larger end bounds it."""
    drift = drift_of([certified(365 * n, 0.01 * n, 0.02) for n in range(5)])
    assert 2.0 * drift.line.standard_u_at(drift.line.middle) < 0.02
    for share in (0.0, 0.3, 0.7, 0.99):
        years = [(value.on - FIRST).days / DAYS_PER_YEAR for value in drift.values]
        correlated = 0.01**2 * ((1.0 - share) * np.eye(5) + share)
        shared = weighted_line(years, [value.value for value in drift.values], correlated)
        for days in (0, 700, 1460, 2200):
            assert 2.0 * shared.standard_u_at(days / DAYS_PER_YEAR) <= expanded_u_for(drift, days) + 1e-12
        assert 2.0 * shared.standard_u_of_slope() <= drift.expanded_u_per_year + 1e-12


def test_the_further_from_the_certificates_the_less_is_known():
    drift = drift_of([certified(0, 0.0), certified(365, 0.005), certified(730, 0.015)])
    assert expanded_u_for(drift, 730) < expanded_u_for(drift, 1100) < expanded_u_for(drift, 1460)
    assert not drift.is_far_on(FIRST + timedelta(days=1460))
    assert drift.is_far_on(FIRST + timedelta(days=1461))


def test_certificates_that_scatter_beyond_what_they_claim_make_the_drift_less_sure():
    wild = drift_of([certified(0, 0.0), certified(365, 0.1), certified(730, -0.1), certified(1095, 0.1)])
    tame = drift_of([certified(0, 0.0), certified(365, 0.01), certified(730, 0.0), certified(1095, 0.01)])
    assert wild.scatters and not tame.scatters
    assert wild.expanded_u_per_year == pytest.approx(
        2.0 * wild.line.birge_ratio * wild.line.standard_u_of_slope()
    )
    assert wild.expanded_u_per_year > 5.0 * tame.expanded_u_per_year


def test_a_drift_is_seen_only_beyond_its_uncertainty():
    assert not drift_of([certified(0, 0.0), certified(365, 0.02)]).is_seen
    assert drift_of([certified(0, 0.0), certified(365, 0.05)]).is_seen


def test_one_certificate_shows_no_drift():
    with pytest.raises(DriftError, match="second one will"):
        drift_of([certified(0, 0.1), certified(0, 0.2)])
    with pytest.raises(DriftError, match="above zero"):
        drift_of([certified(0, 0.1), certified(365, 0.2, expanded_u=0.0)])
