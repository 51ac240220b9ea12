"""What the figures are held against, and how they are pooled over recordings.

A target is taken per recording or per stroke as its `pool` says:
  p90     90 % of the recordings must be within the bound; the worst is shown beside
  mean    the mean over all recordings (shares of recordings, of strokes found)
  strokes a quantile over the strokes of all recordings
`asserted` marks what the short run of `tests/run` fails on: only what is met with margin.
"""

from dataclasses import dataclass
from typing import Callable

import numpy as np


@dataclass(frozen=True)
class Target:
    what: str
    wanted: str
    figure: Callable  # list of scores of recordings -> one number
    holds: Callable  # number -> bool
    show: str
    each: Callable | None = None  # score -> number that is larger when worse, to name the worst recording
    asserted: bool = False


def numbers(scores, key):
    x = np.array([s[key] for s in scores], dtype=float)
    return x[np.isfinite(x)]


def quantile(x, q):
    x = np.asarray(x, dtype=float)
    return float(np.quantile(x, q)) if len(x) else float("nan")


def mean(x):
    return float(np.mean(x)) if len(x) else float("nan")


def pooled(scores, key):
    return np.concatenate([np.asarray(s[key], dtype=float) for s in scores]) if scores else np.array([])


def p90(key, of=lambda x: x):
    return lambda scores: quantile(of(numbers(scores, key)), 0.9)


def p10(key):
    return lambda scores: quantile(numbers(scores, key), 0.1)


def average(key):
    return lambda scores: mean(numbers(scores, key))


def error(q):
    return lambda scores: quantile(np.abs(pooled(scores, "traverse_errors")), q)


def held(scores):
    return mean(pooled(scores, "interval_holds"))


def crossings(key):
    return lambda scores: mean([float(s[key]) for s in scores if s["crossed"]])


def false_soon(scores):
    return 10 * sum(s["heat_soon_false"] for s in scores) / sum(s["minutes"] for s in scores)


def false_spin_lost(scores):
    return 10 * sum(s["spin_lost_false"] for s in scores) / sum(s["minutes"] for s in scores)


def at_most(bound):
    return lambda x: x <= bound


def at_least(bound):
    return lambda x: x >= bound


def stroke_p90(s):
    return quantile(np.abs(s["traverse_errors"]), 0.9)


# With and without the stroke's length; all that is not about arm speed is the same in both and taken from the first.
COMMON = [
    Target("orbit rate, relative RMS error", "≤ 0.5 %", p90("orbit_rel_rms"), at_most(0.005), "{:.2%}", lambda s: s["orbit_rel_rms"], True),
    Target("orbit rate, 99th percentile of error", "≤ 2 %", p90("orbit_rel_p99"), at_most(0.02), "{:.2%}", lambda s: s["orbit_rel_p99"], True),
    Target("orbit rate known while running", "≥ 98 %", p10("orbit_coverage"), at_least(0.98), "{:.1%}", lambda s: -s["orbit_coverage"], True),
    Target("orbit rate claimed at standstill", "never", p90("orbit_false_share"), at_most(0.0), "{:.2%}", lambda s: s["orbit_false_share"], True),
    Target("orbit rate mixed up with a harmonic", "never", lambda s: max(numbers(s, "orbit_mixed_up")), at_most(0.0), "{:.2%}", lambda s: s["orbit_mixed_up"], True),
    Target("rate of running free, 90th percentile of error", "≤ 2 %", lambda scores: quantile(np.abs(pooled(scores, "free_rate_errors")), 0.9), at_most(0.02), "{:.2%}", lambda s: max(map(abs, s["free_rate_errors"]), default=float("nan")), True),
    Target("`spin-lost` of a pad that spins", "≤ 1 in 10 min", false_spin_lost, at_most(1.0), "{:.2f}", lambda s: s["spin_lost_false"]),
    Target("strokes found (recall)", "≥ 95 %", average("stroke_recall"), at_least(0.95), "{:.1%}", lambda s: -s["stroke_recall"], True),
    Target("found strokes that are real (precision)", "≥ 95 %", average("stroke_precision"), at_least(0.95), "{:.1%}", lambda s: -s["stroke_precision"], True),
    Target("passes matched to 85 %", "all", average("passes_matched"), at_least(1.0), "{:.1%}", lambda s: -s["passes_matched"]),
    Target("spot temperature, RMS error", "≤ 0.3 K", p90("surface_rms_c"), at_most(0.3), "{:.2f} K", lambda s: s["surface_rms_c"]),
    Target("peak rise, error", "≤ 0.5 K", p90("rise_peak_error_k", np.abs), at_most(0.5), "{:.2f} K", lambda s: abs(s["rise_peak_error_k"])),
    Target("`heat-over` said after the crossing", "within 1 s", p90("heat_over_late_s", np.abs), at_most(1.0), "{:.2f} s", lambda s: abs(s["heat_over_late_s"])),
    Target("`heat-soon` 3 to 20 s ahead", "≥ 90 % of crossings", crossings("heat_soon_useful"), at_least(0.9), "{:.0%}"),
    Target("`heat-soon` without reason", "≤ 1 in 10 min", false_soon, at_most(1.0), "{:.2f}", lambda s: s["heat_soon_false"]),
]


def arm(median, ninety):
    return [
        Target("arm speed, median error", f"≤ {median:.0%}", error(0.5), at_most(median), "{:.1%}", lambda s: quantile(np.abs(s["traverse_errors"]), 0.5), True),
        Target("arm speed, 90th percentile of error", f"≤ {ninety:.0%}", error(0.9), at_most(ninety), "{:.1%}", stroke_p90, True),
        Target("90 % intervals that hold the truth", "85 to 97 %", held, lambda x: 0.85 <= x <= 0.97, "{:.1%}", lambda s: -mean(np.asarray(s["interval_holds"], float))),
    ]


# Parts of the arm-speed estimate, each with all before it (`ArmParts` of the analysis), as `arm_parts.rs` names them.
PARTS = {
    "timing": "turn times alone",
    "steps": "+ velocity steps at each stroke's own ends",
    "all": "+ one length for the strokes of a pass (the program)",
}

TOLD = arm(0.05, 0.12)
UNTOLD = arm(0.15, 0.35)
