"""Text that is made from a table or from the model and stands in a document between two marker lines."""
import csv
import pathlib
import re

import wiring
from checks import aim
from clip import boards

ROOM = pathlib.Path(__file__).resolve().parent.parent


def parts_table():
    with (ROOM / "parts.csv").open(newline="", encoding="utf-8") as text:
        rows = list(csv.DictReader(text))
    lines = ["| part | how many | maker's part | second source | instead | mass | cost |", "| --- | --- | --- | --- | --- | --- | --- |"]
    lines += [f"| {r['part']} | {r['quantity']} | {r['maker_part']} | {r['second_source']} | {r['alternatives'] or '-'} | {r['mass_g']} g | {r['cost_class']} |" for r in rows]
    lines.append(f"| **on the machine, without the lead** | | | | | **about {mass(rows)} g** | |")
    return "\n".join(lines)


def mass(parts):
    """What hangs on the machine, to ten grams: most masses are from memory."""
    return round(sum(float(r["mass_g"]) for r in parts if r["on_machine"] == "yes") / 10) * 10


def wiring_table():
    lines = ["| part | its pin | Pico pin | GPIO | signal | wire | in the wire | remark |", "| --- | --- | --- | --- | --- | --- | --- | --- |"]
    for r in wiring.rows():
        fitted = "" if r["fitted"] == "yes" else f" ({r['fitted']})"
        gpio = f"GP{r['gpio']}" if r["gpio"] else "-"
        lines.append(f"| {r['part']}{fitted} | {r['part_pin'] or '-'} | {r['pico_pin'] or '-'} | {gpio} | {r['signal']} | {r['colour'] or '-'} | {r['in_series'] or '-'} | {r['note'] or '-'} |")
    return "\n".join(lines)


def targets_table():
    with (ROOM / "field-targets.csv").open(newline="", encoding="utf-8") as text:
        rows = list(csv.DictReader(text))
    lines = ["| `figure` | what | `unit` | error | statistic | limit | runs | where the limit is from |", "| --- | --- | --- | --- | --- | --- | --- | --- |"]
    for r in rows:
        limit = f"{r['sense']} {r['limit']}{'' if r['limit_unit'] == '1' else ' ' + r['limit_unit']}"
        lines.append(f"| `{r['figure']}` | {r['what']} | `{r['unit']}` | {r['error']} | {r['statistic']} | {limit} | {r['min_runs']} | {r['basis']} |")
    return "\n".join(lines)


def blocks(with_model=True):
    """(document, marker, text) of every generated block."""
    yield "parts.md", "parts", parts_table()
    yield "parts.md", "spot", aim.spot_table()
    yield "wiring.md", "wiring", wiring_table()
    yield "mounting.md", "slant", aim.slant_table()
    yield "calibration.md", "targets", targets_table()
    if with_model:
        from checks import model
        found, tilts, necks = model.geometry()
        yield "mounting.md", "aim", aim.aim_table(tilts, necks)
        yield "mounting.md", "chip", aim.chip_table(next(f["imu_chip"] for f in found if "imu_chip" in f), necks)


def pattern(marker):
    return re.compile(rf"(<!-- made: {marker} -->\n)(.*?)(\n?<!-- end -->)", re.S)


def update():
    (ROOM / "clip" / "boards.scad").write_text(boards.render(), encoding="utf-8")
    wiring.DRAWING.write_text(wiring.draw(), encoding="utf-8")
    for document, marker, text in blocks():
        path = ROOM / document
        old = path.read_text(encoding="utf-8")
        new, count = pattern(marker).subn(lambda m: m[1] + text + "\n" + m[3].lstrip("\n"), old)
        if count != 1:
            raise SystemExit(f"{path} has {count} places for the table '{marker}', expected 1")
        path.write_text(new, encoding="utf-8")


def run(report, with_model):
    for document, marker, text in blocks(with_model):
        found = pattern(marker).search((ROOM / document).read_text(encoding="utf-8"))
        report.check(found is not None and found[2].strip() == text.strip(), f"{document}: the table '{marker}' is current", "" if found and found[2].strip() == text.strip() else "run hardware/check --update")
    from clip import stamp
    report.check(stamp.recorded() == stamp.of_sources(), "pictures were rendered from the present model", "" if stamp.recorded() == stamp.of_sources() else "run hardware/check --pictures")
    for document in sorted(ROOM.glob("*.md")):
        links = re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", document.read_text(encoding="utf-8"))
        lost = [link for link in links if not (document.parent / link).exists()]
        report.check(not lost, f"{document.name}: every link leads somewhere", ", ".join(lost) or f"{len(links)} links")
