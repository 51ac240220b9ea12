#!/usr/bin/env python3
"""Field results to verdicts, as calibration.md specifies them. Standard library only.

    python3 hardware/verdicts.py hardware/field-results.csv

prints one line per figure and statistic. This is the reference for `steadypass calibrate --field-results`.
"""
import csv
import io
import math
import pathlib
import sys

HERE = pathlib.Path(__file__).resolve().parent
TARGETS = HERE / "field-targets.csv"
COLUMNS = ["figure", "run", "condition", "reference", "reference_u", "sensor", "sensor_lo", "sensor_hi", "unit", "method", "note"]
VERDICTS = ("met", "not met", "undecided", "too few", "not tried")


class SheetError(Exception):
    """What is wrong with a sheet: file, line, column, what was found, what is expected."""


def targets():
    with TARGETS.open(newline="", encoding="utf-8") as text:
        return list(csv.DictReader(text))


def judge(path):
    return judge_text(pathlib.Path(path).read_text(encoding="utf-8"), pathlib.Path(path).name)


def judge_text(text, name):
    """Verdicts for every line of field-targets.csv, in its order: dicts with figure, statistic, runs, low, high, limit, verdict."""
    wanted = targets()
    rows = read_sheet(text, name, {t["figure"]: t["unit"] for t in wanted})
    return [verdict(t, [r for r in rows if r["figure"] == t["figure"]]) for t in wanted]


def read_sheet(text, name, units):
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))     # spreadsheets put a byte order mark before it
    if reader.fieldnames != COLUMNS:
        raise SheetError(f"{name}, line 1: the header is {reader.fieldnames}, expected {','.join(COLUMNS)}")
    relative = {t["figure"] for t in targets() if t["error"] == "percent"}
    rows = []
    for row in reader:
        where = f"{name}, line {reader.line_num}"
        if None in row or None in row.values():
            found = len(COLUMNS) - list(row.values()).count(None) + len(row.get(None, []))
            raise SheetError(f"{where}: {found} cells, expected {len(COLUMNS)}; a text with a comma stands in quotes")
        if row["figure"] not in units:
            raise SheetError(f"{where}, figure: {row['figure']!r} is not one of {', '.join(units)}")
        if row["unit"] != units[row["figure"]]:
            raise SheetError(f"{where}, unit: {row['unit']!r}, but {row['figure']} is given in {units[row['figure']]}")
        for key in ("reference", "reference_u", "sensor", "sensor_lo", "sensor_hi"):
            try:
                row[key] = number(row[key])
            except ValueError:
                raise SheetError(f"{where}, {key}: {row[key]!r} is not a number") from None
            if row[key] is not None and not math.isfinite(row[key]):
                raise SheetError(f"{where}, {key}: not a finite number")
        if row["reference"] is None:
            continue            # not done yet
        if row["reference_u"] is None or row["reference_u"] < 0:
            raise SheetError(f"{where}, reference_u: every reference needs its uncertainty (0 for a count), in the same unit")
        if row["reference"] == 0 and row["figure"] in relative:
            raise SheetError(f"{where}, reference: 0, but the error of {row['figure']} is a share of the reference")
        rows.append(row)
    return rows


def number(cell):
    """A cell's number, None when it is empty. Python's own reading takes 1_000 and digits of other scripts, too."""
    if "_" in cell or not cell.isascii():
        raise ValueError(cell)
    return float(cell) if cell.strip() else None


def verdict(target, rows):
    reported = [r for r in rows if r["sensor"] is not None]
    if target["error"] == "inside":
        reported = [r for r in reported if r["sensor_lo"] is not None and r["sensor_hi"] is not None]
    out = {"figure": target["figure"], "statistic": target["statistic"], "runs": len(rows), "low": "", "high": "",
           "limit": target["limit"], "verdict": "not tried"}
    if not rows:
        return out
    if len(rows) < int(target["min_runs"]) or not reported:
        return out | {"verdict": "too few"}
    pairs = [bounds(target["error"], r) for r in reported]
    low, high = (statistic(target["statistic"], [p[i] for p in pairs]) for i in (0, 1))
    limit = float(target["limit"])
    if target["sense"] == "at most":
        answer = "met" if high <= limit else "not met" if low > limit else "undecided"
    else:
        answer = "met" if low >= limit else "not met" if high < limit else "undecided"
    if answer == "met" and len(reported) < len(rows):
        answer = "undecided"    # a figure that was sometimes left blank has not been met
    return out | {"low": f"{low:.4g}", "high": f"{high:.4g}", "verdict": answer}


def bounds(error, row):
    """Smallest and largest size of a run's error that the reference's uncertainty allows."""
    u = row["reference_u"]
    if error == "value":
        return row["sensor"] - u, row["sensor"] + u
    if error == "inside":
        lo, hi = row["sensor_lo"], row["sensor_hi"]
        return float(lo + u <= row["reference"] <= hi - u), float(lo - u <= row["reference"] <= hi + u)
    size = abs(row["sensor"] - row["reference"])
    if error == "percent":
        scale = 100 / abs(row["reference"])
        size, u = size * scale, u * scale
    return max(0.0, size - u), size + u


def statistic(name, values):
    ordered, n = sorted(values), len(values)
    if name == "rms":
        return math.sqrt(sum(v * v for v in values) / n)
    if name == "mean":
        return sum(values) / n
    if name == "median":
        return (ordered[(n - 1) // 2] + ordered[n // 2]) / 2
    if name == "p90":
        return ordered[math.ceil(0.9 * n) - 1]
    return {"max": ordered[-1], "min": ordered[0]}[name]


def main(arguments):
    if len(arguments) != 1:
        sys.exit("usage: verdicts.py FIELD-RESULTS.csv")
    try:
        results = judge(arguments[0])
    except UnicodeDecodeError as error:
        sys.exit(f"cannot read {arguments[0]}: {error}; it must be UTF-8 text")
    except (SheetError, OSError) as error:
        sys.exit(str(error))
    for target, v in zip(targets(), results):
        unit = "" if target["limit_unit"] == "1" else " " + target["limit_unit"]
        shown = f"{v['low']} to {v['high']}{unit}" if v["low"] else "-"
        print(f"{v['verdict']:10} {target['what']}: {v['statistic']} {shown} ({target['sense']} {v['limit']}{unit}, {v['runs']} of {target['min_runs']} runs)")


if __name__ == "__main__":
    main(sys.argv[1:])
