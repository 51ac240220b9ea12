"""The results as a Markdown page."""

import numpy as np

from targets import PARTS, mean, numbers, pooled, quantile
from told_wrong import FACTORS, SAID

HEAD = """# Accuracy, measured

Made by `tests/accuracy/run {seed} {count} --table tests/accuracy/RESULTS.md` on {date} with the program as of commit
{commit}: {recordings} recordings of eleven kinds, {strokes} strokes, {minutes:.0f} minutes of work, every parameter drawn at
random from the ranges in `host/src/simulation/drawn.rs` (seed {seed}); it took {seconds:.0f} s. All from models: no figure
here comes from a physical machine. The four practice recordings come from a second, independent physical model
(`data/recordings`).

Errors are relative to the truth. "p90" over recordings is the recording that 90 % are better than; a target for recordings
counts as met when 90 % of them meet it, and the worst stands beside. Where a target speaks of single strokes, the strokes of
all recordings are taken together.
"""

INSIDE = """No trace is part of the program, and this is why: a smoother that is told each stroke's true times, direction, mean speed
and end speeds (`inside_strokes.py`) follows the speed between no better than the mean alone, whose figure is 1. The last line
shows that it could, were gravity not in the way."""

EARLY = """The same recordings (the first few of each kind), cut off 3 s after the end of their first, second, third and fourth stroke, as
when a test spot is done or work is called off. What is under way then is no stroke yet."""

WRONG = """The length of a stroke that is told, over the true one. Where it hardly fits the turns of a pass, the speeds go by it and
their intervals take in what the turns say; where it is contradicted, they go by the turns alone. The figures are of the strokes
of the recordings of which that is said."""

LAST = """The figure that warnings of the pace go by. Nothing that comes after the stroke can have mended it yet."""

LOAD = """The rate of running free is told where the step down is seen as the pad takes load; small steps drown in the rate's own
wandering. Stalls of the pad's spin are drawn for one kind only."""

RUNNING = """What the live view shows while a stroke is under way: the speed of this stroke (its length over its time) as its start
tells it, set right by what the strokes of the pass before it are known to have had, ten times a second. So the truth at a
moment is the true speed of the stroke under way, the whole of it. No stroke length is told here; with one it is nearer. Just
after a turn the figure of the stroke before is still on show, and counts. A dash: fewer strokes than that got a figure of their
own before they ended."""


def line(*cells):
    return "| " + " | ".join(str(c) for c in cells) + " |"


def shown(show, x):
    return show.format(x) if np.isfinite(x) else "–"


def spread(scores, key, show, worse=max, of=lambda x: x):
    """median · p90 · worst of one figure over recordings."""
    x = of(numbers(scores, key))
    if not len(x):
        return "–"
    q = 0.9 if worse is max else 0.1
    return " · ".join(show.format(v) for v in (np.median(x), np.quantile(x, q), worse(x)))


ARM_SPEEDS = "strokes", "median error", "p90", "worst", "bias", "intervals hold", "interval width, median"


def arm_speeds(scores):
    """The cells under `ARM_SPEEDS`, of all strokes of some recordings."""
    e = pooled(scores, "traverse_errors")
    return (
        len(e), *(shown("{:.1%}", quantile(np.abs(e), q)) for q in (0.5, 0.9, 1.0)), shown("{:+.1%}", mean(e)),
        shown("{:.0%}", mean(pooled(scores, "interval_holds"))), shown("{:.0%}", quantile(pooled(scores, "interval_widths"), 0.5)),
    )


def markdown(facts, kinds, runs, practices, results):
    told = [r["told"] for r in runs]
    out = [HEAD.format(
        **facts, recordings=len(runs), strokes=sum(len(s["traverse_errors"]) for s in told), minutes=sum(s["minutes"] for s in told)
    )]
    out += ["## Against the targets", "", line("figure", "target", "simulated", "practice", "worst recording", ""), line(*["---"] * 6)]
    for key, target, figure, other in results:
        worst = "–"
        if target.each:
            each = [(target.each(r[key]), r) for r in runs]
            each = [e for e in each if np.isfinite(e[0])]
            if each:
                value, at = max(each, key=lambda e: e[0])
                worst = f"{at['name']}: {shown(target.show, abs(value))}"
        name = target.what + (", length not told" if key == "untold" else ", length told" if target.what.startswith(("arm", "90 %")) else "")
        verdict = "met" if target.holds(figure) else "**missed**"
        out.append(line(name, target.wanted, shown(target.show, figure), shown(target.show, other), worst, verdict))
    groups = [(kind, [r for r in runs if r["kind"] == kind]) for kind in kinds] + [(p["name"], [p]) for p in practices]

    out += ["", "## Orbit rate by kind (median · p90 · worst recording)", ""]
    out += [line("kind", "relative RMS error", "99th percentile", "known while running (median · p10 · worst)", "claimed at standstill"), line(*["---"] * 5)]
    for kind, group in groups:
        s = [r["told"] for r in group]
        out.append(line(
            kind, spread(s, "orbit_rel_rms", "{:.2%}"), spread(s, "orbit_rel_p99", "{:.2%}"),
            spread(s, "orbit_coverage", "{:.1%}", min), spread(s, "orbit_false_share", "{:.1%}"),
        ))

    out += ["", "## What load does: free running, and pads that stop spinning, by kind", "", LOAD, ""]
    out += [line("kind", "free rate told, passes", "median error", "p90", "worst", "stalls told", "`spin-lost` of a pad that spins"), line(*["---"] * 7)]
    for kind, group in [*groups, ("all simulated", runs)]:
        s = [r["told"] for r in group]
        e = np.abs(pooled(s, "free_rate_errors"))
        stalls = sum(x["stalls"] for x in s)
        out.append(line(
            kind, f"{len(e)} of {len(e) + sum(x['free_rate_untold'] for x in s)}", *(shown("{:.2%}", quantile(e, q)) for q in (0.5, 0.9, 1.0)),
            f"{sum(x['stalls_told'] for x in s)} of {stalls}" if stalls else "–", sum(x["spin_lost_false"] for x in s),
        ))

    out += ["", "## Strokes and passes by kind", ""]
    out += [line("kind", "recall, mean", "recall, worst", "precision, mean", "precision, worst", "passes matched", "passes too many"), line(*["---"] * 7)]
    for kind, group in groups:
        s = [r["told"] for r in group]
        recall, precision = numbers(s, "stroke_recall"), numbers(s, "stroke_precision")
        out.append(line(
            kind, f"{mean(recall):.1%}", f"{recall.min():.0%}", f"{mean(precision):.1%}", f"{precision.min():.0%}",
            f"{mean(numbers(s, 'passes_matched')):.0%}", int(sum(x["passes_extra"] for x in s)),
        ))

    for key, title in (("told", "told"), ("untold", "not told")):
        out += ["", f"## Arm speed by kind, stroke length {title}", ""]
        out += [line("kind", *ARM_SPEEDS), line(*["---"] * (1 + len(ARM_SPEEDS)))]
        for kind, group in groups:
            out.append(line(kind, *arm_speeds([r[key] for r in group])))

    out += ["", "## Stroke lengths told wrong", "", WRONG, ""]
    out += [line("told, over the true one", "said of the length", "recordings", *ARM_SPEEDS), line(*["---"] * (3 + len(ARM_SPEEDS)))]
    for factor in FACTORS:
        each = [r["told_wrong"][factor] for r in runs]
        for said in SAID:
            s = [x for x in each if x["said"] == said]
            out.append(line(factor, said, f"{len(s)} of {len(each)}", *(arm_speeds(s) if s else ["–"] * len(ARM_SPEEDS))))

    out += ["", "## Arm speed of recordings that end early", "", EARLY, ""]
    out += [line("ended after strokes", "stroke length", "found", *ARM_SPEEDS), line(*["---"] * (3 + len(ARM_SPEEDS)))]
    for n in sorted({n for r in runs for n in r["early"]}):
        for key, title in (("told", "told"), ("untold", "not told")):
            s = [r["early"][n][key] for r in runs if n in r["early"]]
            out.append(line(n, title, f"{mean(numbers(s, 'stroke_recall')):.1%}", *arm_speeds(s)))

    out += ["", "## Arm speed while the stroke is under way, by kind", "", RUNNING, ""]
    out += [line("kind", "moments", "with an estimate", "median error", "p90", "bias", "intervals hold", "interval width, median", "there after the stroke's start, s, median · p90 of strokes"), line(*["---"] * 9)]
    for kind, group in [*groups, ("all simulated", runs)]:
        s = [r["untold"] for r in group]
        e, moments = pooled(s, "running_errors"), sum(x["moments"] for x in s)
        after = np.sort(pooled(s, "running_after_s"))
        out.append(line(
            kind, moments, f"{len(e) / moments:.0%}", *(shown("{:.1%}", quantile(np.abs(e), q)) for q in (0.5, 0.9)),
            shown("{:+.1%}", mean(e)), shown("{:.0%}", mean(pooled(s, "running_holds"))),
            shown("{:.0%}", quantile(pooled(s, "running_widths"), 0.5)),
            " · ".join(shown("{:.1f}", after[int(np.ceil(q * len(after))) - 1]) for q in (0.5, 0.9)),
        ))

    out += ["", "## Arm speed of the stroke just ended, as the live view shows it", "", LAST, ""]
    out += [line("kind", "stroke length", "shown", "median error", "p90", "bias", "intervals hold", "interval width, median", "after the stroke's end, s, median · p90"), line(*["---"] * 9)]
    for kind, group in [*groups, ("all simulated", runs)]:
        for key, title in (("told", "told"), ("untold", "not told")):
            s = [r[key] for r in group]
            e, after = pooled(s, "last_errors"), pooled(s, "last_after_s")
            out.append(line(
                kind, title, f"{len(e)} of {len(pooled(s, 'traverse_errors'))}", *(shown("{:.1%}", quantile(np.abs(e), q)) for q in (0.5, 0.9)),
                shown("{:+.1%}", mean(e)), shown("{:.0%}", mean(pooled(s, "last_holds"))), shown("{:.0%}", quantile(pooled(s, "last_widths"), 0.5)),
                " · ".join(shown("{:.1f}", quantile(after, q)) for q in (0.5, 0.9)),
            ))

    out += ["", "## What each part of the arm-speed estimate adds (size of error, median · p90 over all strokes)", ""]
    columns = [(group, key) for group in (runs, practices) for key in ("told", "untold")]
    out += [line("parts in use", "simulated, length told", "not told", "practice, length told", "not told"), line(*["---"] * 5)]
    for part, what in PARTS.items():
        each = [np.abs(np.concatenate([r[key]["parts"][part] for r in group])) for group, key in columns]
        out.append(line(what, *(" · ".join(shown("{:.1%}", quantile(e, q)) for q in (0.5, 0.9)) for e in each)))
    out += ["", "Without a told length, turn times alone can only assume the usual one."]

    out += ["", "## Speed inside the strokes (RMS error over the RMS of the true wandering about the mean, median · p90 over strokes)", ""]
    out += [INSIDE, "", line("trace", "simulated", "practice"), line(*["---"] * 3)]
    for i, what in enumerate(("smoother over the measured acceleration", "straight line between the ends, no acceleration", "smoother over the true acceleration")):
        each = [[e[i] for r in group for e in r["inside"]] for group in (runs, practices)]
        out.append(line(what, *(" · ".join(shown("{:.2f}", quantile(e, q)) for q in (0.5, 0.9)) for e in each)))

    out += ["", "## Surface temperature and heat by kind (median · p90 · worst recording)", ""]
    out += [line("kind", "spot, RMS error, K", "peak rise, size of error, K", "crossings", "`heat-over` late, s", "`heat-soon` first said ahead, s", "useful", "`heat-soon` / `heat-over` without reason", "minutes"), line(*["---"] * 9)]
    for kind, group in groups:
        s = [r["told"] for r in group]
        crossed = [x for x in s if x["crossed"]]
        out.append(line(
            kind, spread(s, "surface_rms_c", "{:.2f}"), spread(s, "rise_peak_error_k", "{:.2f}", of=np.abs), len(crossed),
            spread(crossed, "heat_over_late_s", "{:.1f}"), spread(crossed, "heat_soon_lead_s", "{:.1f}", min),
            shown("{:.0%}", mean([float(x["heat_soon_useful"]) for x in crossed])),
            f"{sum(x['heat_soon_false'] for x in s)} / {sum(x['heat_over_false'] for x in s)}", f"{sum(x['minutes'] for x in s):.0f}",
        ))
    return "\n".join(out) + "\n"
