"""Makes recordings with known truth, takes them through `import` and `review`, scores them, writes the table.

usage: measure.py PROGRAM ARM_SPEEDS WORK --seed N --count N [--table FILE] [--assert]
"""

import argparse
import csv
import datetime
import json
import lzma
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import ended_early
import inside_strokes
import told_wrong
from score import last_stroke, running, score, speed_errors
from table import markdown
from targets import COMMON, PARTS, TOLD, UNTOLD

TOP = Path(__file__).resolve().parents[2]
PRACTICE = TOP / "data" / "recordings" / "practice"
TRACED = 3  # recordings of each kind whose strokes are looked into


def run(program, *args):
    """Runs the program; exit code 3 (some data lost) is fine for the tables that claim losses."""
    done = subprocess.run([program, "-q", *map(str, args)], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    if done.returncode not in (0, 3):
        sys.exit(f"steadypass {' '.join(map(str, args))}: exit code {done.returncode}\n{done.stderr}")


def more_speeds(arm_speeds, recording, truth, *length):
    """Errors of the arm speed with ever more of the estimate's parts in use, and how the running estimate did."""
    table = subprocess.run([arm_speeds, recording, *map(str, length)], capture_output=True, text=True, check=True).stdout
    found = list(csv.DictReader(table.splitlines()))
    of = lambda what: [r for r in found if r["what"] == what]
    return {"parts": {p: speed_errors(truth, of(p)) for p in PARTS}} | running(truth, of("running")) | last_stroke(truth, of("last"))


def review(programs, table, truth, folder, name, kind, traced, wrong):
    """Scores one table, with and without its stroke length told, and what a smoother inside its strokes would give."""
    program, arm_speeds = programs
    out = {"name": name, "kind": kind, "inside": [], "early": {}}
    if traced:
        out["inside"] = inside_strokes.errors(table, truth)
        for strokes, part, known in ended_early.parts(table, truth, folder):
            out["early"][strokes] = {key: ended_early.score(known, done) for key, done, *_ in reviews(program, part, truth, folder)}
    for key, done, recording, length in reviews(program, table, truth, folder):
        out[key] = score(truth, done) | more_speeds(arm_speeds, recording, truth, *length)
    out["told_wrong"] = told_wrong.figures(program, recording, truth, folder) if wrong else {}
    return out


def reviews(program, table, truth, folder):
    """Imports a table, which goes; reviews the recording with its stroke length told, and without."""
    recording = folder / f"{table.stem}.mcap"
    run(program, "import", table, "--out", recording)
    table.unlink()
    for key, length in (("told", [truth["cfg"]["stroke_m"]]), ("untold", [])):
        more = ["--stroke-length-m", *length] if length else []
        done = folder / f"{table.stem}-{key}"
        run(program, "review", recording, "--no-sheets", "--out", done, *more)
        yield key, done, recording, length


def simulated(programs, work, kind, seed, traced, wrong):
    folder = Path(tempfile.mkdtemp(dir=work))
    try:
        run(programs[0], "simulate", "--kind", kind, "--seed", seed, "--out", folder)
        table = folder / f"{kind}-{seed}.csv"
        truth = json.loads((folder / f"{kind}-{seed}.truth.json").read_text())
        return review(programs, table, truth, folder, f"{kind}-{seed}", kind, traced, wrong)
    finally:
        shutil.rmtree(folder)


def practice(programs, work, path):
    folder = Path(tempfile.mkdtemp(dir=work))
    try:
        name = path.name.removesuffix(".csv.xz")
        table = folder / f"{name}.csv"
        with lzma.open(path) as packed, open(table, "wb") as plain:
            shutil.copyfileobj(packed, plain)
        truth = json.loads(lzma.open(PRACTICE / f"{name}.truth.json.xz").read())
        return review(programs, table, truth, folder, name, "practice", True, False)
    finally:
        shutil.rmtree(folder)


def judged(runs, practices):
    """Each target with the figure over the simulated recordings and over the practice ones."""
    for key, targets in (("told", COMMON), ("told", TOLD), ("untold", UNTOLD)):
        for target in targets:
            yield key, target, target.figure([r[key] for r in runs]), target.figure([r[key] for r in practices])


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("program")
    parser.add_argument("arm_speeds")
    parser.add_argument("work", type=Path)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--count", type=int, required=True)
    parser.add_argument("--table", type=Path)
    parser.add_argument("--assert", dest="enforce", action="store_true")
    args = parser.parse_args()
    kinds = subprocess.run([args.program, "simulate", "--kind", "list", "--out", "."], capture_output=True, text=True, check=True)
    kinds = [k for k in kinds.stdout.split() if k not in ("demo", "hour")]
    programs = (args.program, args.arm_speeds)
    started = time.monotonic()
    print(f"seed {args.seed}, {args.count} recordings of each of {len(kinds)} kinds, {len(list(PRACTICE.glob('*.csv.xz')))} practice recordings")
    with ThreadPoolExecutor(2) as pool:
        jobs = [(kind, args.seed * 1000 + i, i < TRACED, bool(args.table)) for i in range(args.count) for kind in kinds]
        runs = list(pool.map(lambda job: simulated(programs, args.work, *job), jobs))
        practices = list(pool.map(lambda p: practice(programs, args.work, p), sorted(PRACTICE.glob("*.csv.xz"))))
    seconds = time.monotonic() - started
    results = list(judged(runs, practices))
    passed = failed = 0
    for key, target, figure, _ in results:
        holds = target.holds(figure)
        told = {"told": "", "untold": " (stroke length not told)"}[key]
        print(f"{'met   ' if holds else 'MISSED'} {target.what}{told}: {target.show.format(figure)}, target {target.wanted}")
        if args.enforce and target.asserted:
            passed, failed = passed + holds, failed + (not holds)
    if args.table:
        commit = subprocess.run(["git", "-C", TOP, "log", "-1", "--format=%h"], capture_output=True, text=True).stdout.strip()
        facts = {
            "date": datetime.date.today().isoformat(),
            "commit": commit or "unknown",
            "seed": args.seed,
            "count": args.count,
            "seconds": seconds,
            "machine": f"{platform.machine()}, {platform.system()}",
        }
        args.table.write_text(markdown(facts, kinds, runs, practices, results))
        print(f"wrote {args.table}")
    print(f"{seconds:.0f} s")
    if args.enforce:
        print(f"{passed} passed, {failed} failed")
        sys.exit(failed > 0)


if __name__ == "__main__":
    main()
