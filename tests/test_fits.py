"""Most of the values say what the fit is, held against NumPy's own on what is clean."""

from __future__ import annotations

import numpy as np

from grader.fits import fit_of_most


def test_without_outliers_it_is_least_squares_and_with_them_nearly_so() -> None:
    """`numpy.polyfit` is the reference."""
    rng = np.random.default_rng(0)
    x = np.linspace(-1, 1, 400)
    clean = 0.7 * x + 0.2
    terms = np.column_stack([x, np.ones_like(x)])
    how = {"rounds": 5, "least_spread": 1e-3, "fewest": 20}
    exact = fit_of_most(terms, clean[:, None], **how)  # type: ignore[arg-type]
    assert np.allclose(exact[:, 0], np.polyfit(x, clean, 1))
    noisy = clean + 0.01 * rng.standard_normal(400)
    noisy[::7] += 3.0
    mended = fit_of_most(terms, noisy[:, None], **how)  # type: ignore[arg-type]
    assert np.allclose(mended[:, 0], (0.7, 0.2), atol=0.01)
    assert not np.allclose(np.polyfit(x, noisy, 1), (0.7, 0.2), atol=0.1)


def test_an_outlier_in_one_channel_has_no_say_in_the_others() -> None:
    x = np.linspace(-1, 1, 200)
    terms = np.column_stack([x, np.ones_like(x)])
    values = np.column_stack([0.5 * x, -0.5 * x])
    values[:20, 0] += 2.0
    values[:20, 1] += 0.0005
    fit = fit_of_most(terms, values, rounds=4, least_spread=1e-4, fewest=20)
    assert np.allclose(fit, np.array([[0.5, -0.5], [0.0, 0.0]]), atol=1e-6)
