"""Scores one review folder against the truth of its recording.

A review is what `steadypass review` writes: series.csv, strokes.csv, passes.csv, warnings.csv. The truth is the JSON beside
a simulated table. `score` returns plain figures of one recording, and the lists that are pooled over recordings: errors of
single strokes and which intervals hold.

Terms: IoU is the overlap of two stretches of time over their union; a stroke counts as found at IoU 0.7, a pass at 0.85.
"""

import csv
from pathlib import Path

import numpy as np

STROKE_IOU = 0.7
PASS_IOU = 0.85
HEAT_LIMIT_K = 20 * 5 / 9  # 20 °F, the plan's default; common practice, no published source
SPUN_UP_S = 2.0  # the drive counts as up to speed this long after it was switched on
SPINS_HZ = 1.2  # a pad slower than this stands, as far as the beat of its spin can tell
SOON_S = (3.0, 20.0)  # a `heat-soon` this far ahead of the crossing is useful


def rows(path):
    with open(path, newline="") as file:
        return list(csv.DictReader(file))


def column(table, key):
    """A column as floats; empty cells are NaN."""
    return np.array([float(r[key]) if r.get(key) else np.nan for r in table])


def iou(a0, a1, b0, b1):
    shared = min(a1, b1) - max(a0, b0)
    return shared / (max(a1, b1) - min(a0, b0)) if shared > 0 else 0.0


def matched(truth, found_start, found_end, least):
    """Index of the found stretch for each true one, or None; no found stretch serves twice."""
    used, out = set(), []
    for q in truth:
        fits = [(iou(a, b, q["start_s"], q["end_s"]), i) for i, (a, b) in enumerate(zip(found_start, found_end)) if i not in used]
        best, at = max(fits, default=(0.0, None))
        out.append(at if best >= least else None)
        used.add(out[-1])
    return out


def orbit(truth, series):
    """Relative errors of the orbit rate while the drive is up to speed, coverage of that time, false rates at standstill."""
    t, opm = column(series, "t_s"), column(series, "orbit_opm")
    runs = truth.get("motor") or [(truth["motor_on_s"], truth["motor_off_s"])]
    running, off = np.zeros(len(t), bool), np.ones(len(t), bool)
    for on_s, off_s in runs:
        off_s = t[-1] + 1 if off_s is None else off_s
        running |= (t > on_s + SPUN_UP_S) & (t < off_s - 0.5)
        off &= (t < on_s - 0.5) | (t > off_s + 4.0)
    true_opm = np.interp(t, truth["orbit"]["t"], np.array(truth["orbit"]["hz"]) * 60)
    ok = running & np.isfinite(opm)
    error = np.abs(opm[ok] / true_opm[ok] - 1)
    # A whole-number mix-up: nearer to a half, double or threefold rate than to the true one.
    ratio = opm[ok] / true_opm[ok]
    return {
        "orbit_rel_rms": rms(error),
        "orbit_rel_p99": float(np.quantile(error, 0.99)) if ok.any() else np.nan,
        "orbit_coverage": float(ok.sum() / max(running.sum(), 1)),
        "orbit_false_share": float(np.isfinite(opm[off]).mean()) if off.any() else 0.0,
        "orbit_mixed_up": float((np.abs(np.log2(ratio)) > 0.4).mean()) if ok.any() else 0.0,
    }


def strokes(truth, found):
    true = truth["strokes"]
    v, lo, hi = (column(found, f"traverse{x}_mps") for x in ("", "_lo", "_hi"))
    match = matched(true, column(found, "start_s"), column(found, "end_s"), STROKE_IOU)
    hits = [(q, i) for q, i in zip(true, match) if i is not None]
    known = [(q["traverse_mps"], i) for q, i in hits if np.isfinite(v[i])]
    bounded = [(q, i) for q, i in known if np.isfinite(lo[i]) and np.isfinite(hi[i])]
    return {
        "stroke_recall": len(hits) / len(true),
        "stroke_precision": len(hits) / max(len(found), 1),
        "traverse_errors": [v[i] / q - 1 for q, i in known],
        "interval_holds": [bool(lo[i] <= q <= hi[i]) for q, i in bounded],
        "interval_widths": [(hi[i] - lo[i]) / v[i] for _, i in bounded],
    }


def speed_errors(truth, found):
    """Relative errors of the arm speed over the strokes that were found."""
    v = column(found, "traverse_mps")
    match = matched(truth["strokes"], column(found, "start_s"), column(found, "end_s"), STROKE_IOU)
    return [v[i] / q["traverse_mps"] - 1 for q, i in zip(truth["strokes"], match) if i is not None and np.isfinite(v[i])]


def running(truth, ticks):
    """The live view's running estimate against the stroke under way: its speed is length over time, as the estimate claims.

    A moment is a tick within a true stroke. What is on show just after a turn may still be the stroke before, and counts as what
    it is shown for. A stroke's own figure is there from the first moment with one that did not stand at the stroke's start.
    """
    t, v, lo, hi = (column(ticks, key) for key in ("start_s", "traverse_mps", "traverse_lo_mps", "traverse_hi_mps"))
    out = {"moments": 0, "running_errors": [], "running_holds": [], "running_widths": [], "running_after_s": []}
    for q in truth["strokes"]:
        within = (t >= q["start_s"]) & (t <= q["end_s"])
        known = within & np.isfinite(v)
        out["moments"] += int(within.sum())
        out["running_errors"] += list(v[known] / q["traverse_mps"] - 1)
        out["running_holds"] += list((lo[known] <= q["traverse_mps"]) & (q["traverse_mps"] <= hi[known]))
        out["running_widths"] += list((hi[known] - lo[known]) / v[known])
        before = v[t < q["start_s"]][-1:]
        own = t[known & ~np.isin(v, before)]
        out["running_after_s"].append(float(own[0] - q["start_s"]) if len(own) else np.inf)
    return out


def last_stroke(truth, shown):
    """What the live view shows as the last stroke's speed, as it comes, against the true stroke that ended last before.

    Warnings of the pace go by it. How long after that end it comes is told besides; a stroke that never gets a figure is not there.
    """
    t, v, lo, hi = (column(shown, key) for key in ("start_s", "traverse_mps", "traverse_lo_mps", "traverse_hi_mps"))
    out = {"last_errors": [], "last_holds": [], "last_widths": [], "last_after_s": []}
    ends = np.array([q["end_s"] for q in truth["strokes"]])
    for t, v, lo, hi in zip(t, v, lo, hi):
        ended = np.flatnonzero(ends <= t)
        if not np.isfinite(v) or not len(ended):
            continue
        true = truth["strokes"][ended[-1]]["traverse_mps"]
        out["last_errors"].append(v / true - 1)
        out["last_holds"].append(bool(lo <= true <= hi))
        out["last_widths"].append((hi - lo) / v)
        out["last_after_s"].append(t - ends[ended[-1]])
    return out


def passes(truth, found):
    match = matched(truth["passes"], column(found, "start_s"), column(found, "end_s"), PASS_IOU)
    return {
        "passes_matched": sum(i is not None for i in match) / len(match),
        "passes_extra": len(found) - sum(i is not None for i in match),
    }


def surface(truth, series):
    t, c, rise = column(series, "t_s"), column(series, "surface_c"), column(series, "surface_rise_k")
    true_c = np.interp(t, truth["ir"]["t"], truth["ir"]["true_c"])
    known, risen = np.isfinite(c), np.isfinite(rise)
    peak = float(np.nanmax(rise)) - truth["rise_true_c"] if risen.any() else np.nan
    return {
        "surface_rms_c": rms(c[known] - true_c[known]),
        "surface_coverage": float(known.mean()),
        "rise_peak_error_k": peak,
    }


def heat(truth, found):
    """Warnings of heat against the first crossing of the limit by the spot's own true temperature.

    A `heat-soon` is false when the spot's rise stays below the limit from 5 s before to 20 s after it. A `heat-over` is false
    when it stays more than 0.5 K below the limit from 2 s before to 2 s after.
    """
    t = np.array(truth["ir"]["t"])
    rise = np.array(truth["ir"]["true_c"]) - truth["cfg"]["panel_start_c"]
    over = t[rise > HEAT_LIMIT_K]
    first = float(over[0]) if len(over) else np.nan
    said = {k: [float(r["t_s"]) for r in found if r["kind"] == k] for k in ("heat-soon", "heat-over")}
    top = lambda a, b: float(rise[(t >= a) & (t <= b)].max(initial=-99.0))
    lead = first - min((s for s in said["heat-soon"] if s <= first), default=np.nan)
    # The last word before the crossing is what the user acted on.
    last = first - max((s for s in said["heat-soon"] if s <= first), default=np.nan)
    return {
        "crossed": bool(len(over)),
        "heat_over_late_s": min(said["heat-over"], default=np.nan) - first,
        "heat_over_false": sum(top(s - 2, s + 2) < HEAT_LIMIT_K - 0.5 for s in said["heat-over"]),
        "heat_soon_lead_s": lead,
        "heat_soon_useful": bool(len(over)) and any(SOON_S[0] <= x <= SOON_S[1] for x in (lead, last)),
        "heat_soon_false": sum(top(s - 5, s + 20) <= HEAT_LIMIT_K for s in said["heat-soon"]),
        "minutes": sum(q["end_s"] - q["start_s"] for q in truth["passes"]) / 60,
    }


def load(truth, found_passes, warnings):
    """What the load of the paint does to motor and pad: the rate of running free, and warnings that the pad's spin was lost.

    The pad takes load as a true pass starts; its true free rate is the median from 1.2 to 0.4 s before. A `spin-lost` is true when
    the pad stood for more than two of the six seconds before it; a stall counts as told until 4 s after its end.
    """
    t, rpm = np.array(truth["orbit"]["t"]), np.array(truth["orbit"]["hz"]) * 60
    true, told = truth["passes"], column(found_passes, "orbit_free_opm")
    match = matched(true, column(found_passes, "start_s"), column(found_passes, "end_s"), PASS_IOU)
    errors = []
    for q, i in zip(true, match):
        if i is not None and np.isfinite(told[i]):
            errors.append(told[i] / np.median(rpm[(t > q["start_s"] - 1.2) & (t < q["start_s"] - 0.4)]) - 1)
    spin_t, spin = np.array(truth["spin"]["t"]), np.array(truth["spin"]["hz"])
    said = [float(r["t_s"]) for r in warnings if r["kind"] == "spin-lost"]
    stood = lambda s: np.mean(np.abs(spin[(spin_t > s - 6) & (spin_t < s)]) < SPINS_HZ) * 6
    stalls = truth.get("scenario", {}).get("motor", {}).get("spin_stalls_s", [])
    return {
        "free_rate_errors": errors,
        "free_rate_untold": sum(i is not None for i in match) - len(errors),
        "spin_lost_false": sum(stood(s) <= 2 for s in said),
        "stalls": len(stalls),
        "stalls_told": sum(any(a <= s <= b + 4 for s in said) for a, b in stalls),
    }


def rms(x):
    return float(np.sqrt(np.mean(np.square(x)))) if len(x) else np.nan


def score(truth, folder):
    """All figures of one review."""
    folder = Path(folder)
    series = rows(folder / "series.csv")
    return {
        **orbit(truth, series),
        **strokes(truth, rows(folder / "strokes.csv")),
        **passes(truth, rows(folder / "passes.csv")),
        **load(truth, rows(folder / "passes.csv"), rows(folder / "warnings.csv")),
        **surface(truth, series),
        **heat(truth, rows(folder / "warnings.csv")),
    }
