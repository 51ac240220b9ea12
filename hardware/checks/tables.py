"""Checks that need nothing but Python: wiring against the firmware's pins, and everything that is made from a table."""
import collections
import csv
import pathlib
import re

import verdicts
import wiring
from checks import generated
from clip import boards

ROOM = pathlib.Path(__file__).resolve().parent.parent
PINS = ROOM.parent / "firmware" / "board" / "src" / "pins.rs"
PIN_LINE = re.compile(r"^\s*pub const (\w+): u8 = (\d+);", re.M)


def pin_differences(table, source):
    """Disagreements between the wiring table and the firmware's pin constants, each a sentence; empty when they agree."""
    firmware = {name: int(number) for name, number in PIN_LINE.findall(source)}
    drawn = {r["constant"]: int(r["gpio"]) for r in table if r["constant"]}
    problems = [f"{name} is GP{drawn[name]} in wiring.csv and GP{firmware[name]} in pins.rs"
                for name in sorted(drawn.keys() & firmware.keys()) if drawn[name] != firmware[name]]
    problems += [f"{name} is in wiring.csv but not in pins.rs" for name in sorted(drawn.keys() - firmware.keys())]
    problems += [f"{name} is in pins.rs but not in wiring.csv" for name in sorted(firmware.keys() - drawn.keys())]
    return problems


def table_problems(table):
    """Faults of the wiring table itself: a pin that does not carry what is said of it, or one used twice."""
    problems, taken = [], {}
    for r in table:
        if not r["pico_pin"]:
            continue
        pin = int(r["pico_pin"])
        carries, wanted = wiring.PINOUT.get(pin), int(r["gpio"]) if r["gpio"] else r["signal"]
        if carries != wanted:
            problems.append(f"{r['part']} {r['part_pin']}: pin {pin} carries {carries}, not {wanted}")
        other = taken.setdefault(pin, r["part"])
        if other != r["part"] and r["signal"] != "3V3":
            problems.append(f"pin {pin} is used by {other} and by {r['part']}")
    return problems


def run(report):
    table = wiring.rows()
    problems = table_problems(table)
    report.check(not problems, "every wire ends on a pin that carries its signal, no pin twice", "; ".join(problems) or f"{len(table)} rows")

    claim = "wiring.csv and firmware/board/src/pins.rs agree"
    if PINS.exists():
        problems = pin_differences(table, PINS.read_text(encoding="utf-8"))
        report.check(not problems, claim, "; ".join(problems) or f"{sum(bool(r['constant']) for r in table)} pins")
        moved = PIN_LINE.sub(lambda m: m[0].replace(m[2], "29") if m[1] == "IR_SDA" else m[0], PINS.read_text(encoding="utf-8"))
        report.check(pin_differences(table, moved), "a moved pin is noticed (pins.rs with IR_SDA on GP29, in memory)", "".join(pin_differences(table, moved)))
    else:
        report.skip(claim, "firmware/board/src/pins.rs does not exist yet")

    drawing = wiring.draw()
    bare = [r["constant"] for r in table if r["constant"] == "BUZZER" and not r["in_series"]]
    bare += [f"{r['part']} {r['part_pin']}" for r in table if r["in_series"] and f">{r['in_series']}</text>" not in drawing]
    report.check(not bare, "the buzzer's wire has its resistor, and the drawing shows it", ", ".join(bare))

    drawn = wiring.DRAWING.exists() and wiring.DRAWING.read_text(encoding="utf-8") == drawing
    report.check(drawn, "wiring.svg is what wiring.csv draws", "" if drawn else "run python3 hardware/wiring.py")

    scad = (ROOM / "clip" / "sensor.scad").read_text(encoding="utf-8")
    shown = {int(n) for n in re.search(r"^used_pins = \[([\d, ]+)\]", scad, re.M)[1].split(",")}
    wired = {int(r["pico_pin"]) for r in table if r["fitted"] == "yes"}
    report.check(shown == wired, "the pictures show sockets on the pins in use", f"differ in {sorted(shown ^ wired)}" if shown != wired else "")

    sizes = (ROOM / "clip" / "boards.scad").read_text(encoding="utf-8") == boards.render()
    report.check(sizes, "clip/boards.scad is made from clip/boards.csv", "" if sizes else "run python3 hardware/clip/boards.py")

    with (ROOM / "parts.csv").open(newline="", encoding="utf-8") as text:
        parts = list(csv.DictReader(text))
    gaps = [r["part"] for r in parts if not (r["quantity"] and r["maker_part"] and r["second_source"] and r["cost_class"] in "ABCD" and r["basis"])]
    report.check(not gaps, "every line of parts.csv has quantity, two sources, cost class and basis", ", ".join(gaps) or f"{len(parts)} lines")

    own_lead = [r for r in table if r["fitted"] == "yes" and r["part"] != "IMU board"]
    leads = sum(int(r["quantity"]) for r in parts if r["part"].startswith("socket leads"))
    report.check(leads == len(own_lead), "parts.csv has a socket lead for every wire that is not of the IMU's own lead", f"{leads} leads, {len(own_lead)} wires")
    mass = f"bout {generated.mass(parts)} g"
    silent = [d.name for d in (ROOM.parent / "README.md", ROOM / "README.md") if mass not in d.read_text(encoding="utf-8")]
    report.check(not silent, "README.md and hardware/README.md tell the mass that parts.csv adds up to", f"not 'a{mass}'" if silent else f"a{mass}")

    run_verdicts(report)


def run_verdicts(report):
    """The worked example, and that a spoilt sheet is refused with its line named."""
    got = verdicts.judge(ROOM / "field-results-example.csv")
    want = list(csv.DictReader((ROOM / "field-verdicts-example.csv").open(newline="", encoding="utf-8")))
    differ = [f"{w['figure']} {w['statistic']}: {g} instead of {w}" for g, w in zip(got, want) if {k: str(v) for k, v in g.items()} != w]
    report.check(len(got) == len(want) and not differ, "the worked field results give the worked verdicts", "; ".join(differ) or f"{len(want)} verdicts")
    kinds = {w["verdict"] for w in want}
    report.check(kinds == set(verdicts.VERDICTS), "the worked example has every kind of verdict", ", ".join(sorted(kinds)))
    try:
        blank = verdicts.judge(ROOM / "field-results.csv")
        report.check(all(v["verdict"] == "not tried" for v in blank), "the empty field sheet is valid and claims nothing", f"{len(blank)} verdicts, all 'not tried'")
    except verdicts.SheetError as error:
        report.check(False, "the empty field sheet is valid and claims nothing", str(error))
    page = (ROOM / "calibration.md").read_text(encoding="utf-8")
    told = set(re.findall(r"`(\w+)`", " ".join(re.findall(r"^\*\*\d\. [^*]*\*\* \(([^)]*)\)", page, re.M))))
    laid_out = collections.Counter(r["figure"] for r in csv.DictReader((ROOM / "field-results.csv").open(newline="", encoding="utf-8")))
    gaps = [t["figure"] for t in verdicts.targets() if t["figure"] not in told or laid_out[t["figure"]] < int(t["min_runs"])]
    gaps += sorted((told | laid_out.keys()) - {t["figure"] for t in verdicts.targets()})
    report.check(not gaps, "each figure of the targets has its check in calibration.md and its lines in field-results.csv", ", ".join(gaps) or f"{len(told)} figures")

    sheet = (ROOM / "field-results-example.csv").read_text(encoding="utf-8")
    try:
        marked = verdicts.judge_text("\ufeff" + sheet, "marked.csv")
        report.check(marked == got, "a byte order mark before the field sheet changes nothing")
    except verdicts.SheetError as error:
        report.check(False, "a byte order mark before the field sheet changes nothing", str(error))
    for claim, old, new, said in (
            ("a wrong unit in the field sheet is refused", ",opm,", ",rpm,", "given in opm"),
            ("a number with an underscore in the field sheet is refused", ",3146.8,", ",3_146.8,", "not a number"),
            ("a line of the field sheet with too few cells is refused", ",0.021,,,m/s2,invented,invented", ",0.021,,,m/s2", "line 2: 9 cells, expected 11"),
            ("a line of the field sheet with too many cells is refused", ",0.021,,,m/s2,invented", ",0.021,,,m/s2,a,b", "line 2: 12 cells, expected 11")):
        try:
            verdicts.judge_text(sheet.replace(old, new, 1), "spoilt.csv")
            report.check(False, claim)
        except verdicts.SheetError as error:
            report.check("line" in str(error) and said in str(error), claim, str(error))
