"""Compares days.csv, comparison.csv, differences.csv and trends.csv of one comparison with statsmodels and SciPy.

Usage: check.py FOLDER

days.csv gives for each day the number of passes, their mean and their sum of squared deviations. A mixed model depends on
the passes only through these three, so passes are made up that have exactly them.
"""
import sys
import warnings
from collections import defaultdict
from csv import DictReader
from pathlib import Path

import numpy as np
import pandas as pd
import scipy
import statsmodels
import statsmodels.formula.api as smf
from scipy import stats

folder = Path(sys.argv[1])
read = lambda name: list(DictReader(open(folder / name, newline="")))


def passes(n, mean, scatter):
    """n values with this mean and this sum of squared deviations."""
    if n == 1:
        return np.array([mean])
    shape = np.linspace(-1, 1, n)
    return mean + shape * np.sqrt(scatter / np.sum(shape**2))


days = defaultdict(list)
for row in read("days.csv"):
    days[row["group"], row["figure"]].append((int(row["passes"]), float(row["mean"]), float(row["within_sum_of_squares"])))

worst = defaultdict(float)
checked = defaultdict(int)


def close(what, ours, theirs, scale, tolerance):
    off = abs(ours - theirs) / scale
    worst[what] = max(worst[what], off)
    checked[what] += 1
    assert off <= tolerance, f"{what}: {ours} against {theirs}, off by {off:.2g} of {scale:.3g}"


def mixed(rows, formula):
    frame = pd.concat(
        pd.DataFrame({"y": passes(*row), "day": j, "t": j}) for j, row in enumerate(rows)
    )
    scale = frame.y.std()
    frame.y /= scale
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a variance at zero is a boundary, and said so
        fit = smf.mixedlm(formula, frame, groups=frame.day).fit(reml=True, method=["powell", "lbfgs"])
    return fit, scale


for row in read("comparison.csv"):
    rows = days[row["group"], row["figure"]]
    mean, lo, hi = (float(row[k]) for k in ("mean", "lo90", "hi90"))
    fit, scale = mixed(rows, "y ~ 1")
    within = np.sqrt(fit.scale) * scale
    between = np.sqrt(max(fit.cov_re.iloc[0, 0], 0)) * scale
    standard_error = (hi - lo) / 2 / stats.t.ppf(0.95, len(rows) - 1)
    # Measured: within 1e-4 of a standard error (MixedLM stops a little short of the optimum).
    close("mean, statsmodels MixedLM", mean, fit.fe_params.iloc[0] * scale, standard_error, 5e-4)
    if row["within_day_sd"]:
        close("spread within a day, statsmodels MixedLM", float(row["within_day_sd"]), within, within, 1e-4)
        total = np.hypot(within, between)
        close("spread between days, statsmodels MixedLM", float(row["between_days_sd"]), between, total, 5e-4)
    # The interval: where all days have equally many passes it must be SciPy's t interval of the day means.
    if len({n for n, _, _ in rows}) == 1:
        means = [m for _, m, _ in rows]
        t_lo, t_hi = stats.t.interval(0.9, len(means) - 1, np.mean(means), stats.sem(means))
        close("interval with equal days, scipy.stats.t", lo, t_lo, standard_error, 1e-3)
        close("interval with equal days, scipy.stats.t", hi, t_hi, standard_error, 1e-3)
    # Days resampled: SciPy's BCa bootstrap of the day means is known to be too narrow for ten days; widths agree roughly.
    means = np.array([m for _, m, _ in rows])
    boot = stats.bootstrap((means,), np.mean, confidence_level=0.9, n_resamples=2000, rng=np.random.default_rng(1))
    width = (boot.confidence_interval.high - boot.confidence_interval.low) / (hi - lo)
    worst["width of SciPy's bootstrap over ours, smallest"] = min(worst["width of SciPy's bootstrap over ours, smallest"] or 9, width)
    checked["width of SciPy's bootstrap over ours, smallest"] += 1
    assert 0.6 < width < 1.25, f"{row['group']} {row['figure']}: bootstrap interval {width:.2f} times ours"

for row in read("differences.csv"):
    a, b = (days[row[k], row["figure"]] for k in ("a", "b"))
    if len({n for n, _, _ in a + b}) == 1:  # equal days: exactly Welch's test of the day means
        theirs = stats.ttest_ind([m for _, m, _ in a], [m for _, m, _ in b], equal_var=False)
        close("p, SciPy's Welch test", float(row["p"]), theirs.pvalue, theirs.pvalue, 1e-3)
        interval = theirs.confidence_interval(0.9)
        close("difference's interval, SciPy's Welch test", float(row["lo90"]), interval.low, interval.high - interval.low, 1e-3)

for row in read("trends.csv"):
    rows = days[row["technician"], row["figure"]]
    fit, scale = mixed(rows, "y ~ t")
    standard_error = (float(row["hi90"]) - float(row["lo90"])) / 2 / stats.t.ppf(0.95, len(rows) - 2)
    close("trend, statsmodels MixedLM", float(row["per_working_day"]), fit.fe_params["t"] * scale, standard_error, 5e-4)
    if len({n for n, _, _ in rows}) == 1:
        line = stats.linregress(range(len(rows)), [m for _, m, _ in rows])
        close("trend's standard error with equal days, SciPy linregress", standard_error, line.stderr, line.stderr, 1e-3)

print(f"statsmodels {statsmodels.__version__}, SciPy {scipy.__version__}")
for what, off in worst.items():
    print(f"{what}: {checked[what]} compared, {off:.2g}" + ("" if "width" in what else " worst"))
assert checked["mean, statsmodels MixedLM"] == 24 and checked["p, SciPy's Welch test"] >= 3
