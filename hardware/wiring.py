#!/usr/bin/env python3
"""Draw wiring.svg from wiring.csv, the only table of the wiring. Standard library only.

    python3 hardware/wiring.py            rewrites wiring.svg
    python3 hardware/wiring.py --check    says whether wiring.svg is what the table draws

The Pico stands in the middle, USB up, seen from its parts side; every other part is a box beside the pins it uses.
"""
import csv
import pathlib
import sys
from html import escape

HERE = pathlib.Path(__file__).resolve().parent
TABLE, DRAWING = HERE / "wiring.csv", HERE / "wiring.svg"

# Pin rows of a board of Pico form, from the Raspberry Pi Pico datasheet (chapter 2, pinout). A number is a GPIO.
PINOUT = dict(enumerate((0, 1, "GND", 2, 3, 4, 5, "GND", 6, 7, 8, 9, "GND", 10, 11, 12, 13, "GND", 14, 15,
                         16, 17, "GND", 18, 19, 20, 21, "GND", 22, "RUN", 26, 27, "AGND", 28, "VREF", "3V3", "3V3_EN",
                         "GND", "VSYS", "VBUS"), start=1))

COLOURS = {"red": "#c0392b", "black": "#20242b", "blue": "#0072b2", "yellow": "#d8a800", "green": "#009e73",
           "white": "#b9bec6", "orange": "#e07b00", "brown": "#7b4a2d", "grey": "#7f8790", "": "#20242b"}
WIDTH, HEIGHT, TOP, PITCH = 1240, 800, 110, 30
PICO_LEFT, PICO_RIGHT = 530, 710
BOX_W, LEFT_BOX, RIGHT_BOX = 230, 30, WIDTH - 30 - 230
HEAD, ROW, GAP = 34, 26, 16


def rows():
    with TABLE.open(newline="", encoding="utf-8") as text:
        return list(csv.DictReader(text))


def pin_y(pin):
    """Height of a pin in the drawing: pins 1-20 run down the left side, 40-21 down the right."""
    return TOP + 30 + PITCH * ((pin if pin <= 20 else 41 - pin) - 1)


def draw() -> str:
    out = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="DejaVu Sans, Arial, sans-serif" '
           'font-size="14" fill="#20242b">',
           "<title>Wiring of the Steadypass sensor</title>",
           f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>',
           '<text x="30" y="40" font-size="22" font-weight="bold">Wiring</text>',
           '<text x="30" y="64" fill="#59616c">Drawn from wiring.csv. GP = GPIO number; the number in the board is the pin; a box in a wire is a resistor.</text>',
           f'<rect x="{PICO_LEFT}" y="{TOP}" width="{PICO_RIGHT - PICO_LEFT}" height="{20 * PITCH + 30}" rx="10" fill="#e4efe8" stroke="#2e7d4f" stroke-width="2"/>',
           f'<rect x="{(PICO_LEFT + PICO_RIGHT) / 2 - 32}" y="{TOP - 14}" width="64" height="34" rx="4" fill="#c9ccd1" stroke="#59616c"/>',
           f'<text x="{(PICO_LEFT + PICO_RIGHT) / 2}" y="{TOP + 8}" text-anchor="middle">USB</text>',
           f'<text x="{(PICO_LEFT + PICO_RIGHT) / 2}" y="{TOP + 20 * PITCH + 52}" text-anchor="middle">'
           '<tspan font-weight="bold">Pico</tspan><tspan fill="#59616c" dx="8">seen from its parts side</tspan></text>']
    table = rows()
    used = {int(r["pico_pin"]) for r in table if r["pico_pin"]}
    for pin, what in PINOUT.items():
        x, y = (PICO_LEFT, pin_y(pin)) if pin <= 20 else (PICO_RIGHT, pin_y(pin))
        inward = 1 if pin <= 20 else -1
        name = f"GP{what}" if isinstance(what, int) else what
        ink = "#20242b" if pin in used else "#9aa3ad"
        out.append(f'<circle cx="{x}" cy="{y}" r="5" fill="{"#d8b04a" if pin in used else "#ffffff"}" stroke="{ink}"/>')
        out.append(f'<text x="{x + inward * 12}" y="{y + 5}" text-anchor="{"start" if inward > 0 else "end"}" fill="{ink}">{pin}  {name}</text>')

    # Boxes stand on the side and in the order of their pins; 3V3 is a flag on both ends instead of a wire across the board.
    parts = {}
    for r in table:
        parts.setdefault(r["part"], []).append(r)
    sides = {True: [], False: []}
    for name, wires in parts.items():
        pins = [int(r["pico_pin"]) for r in wires if r["gpio"] and r["pico_pin"]]
        if pins:
            sides[min(pins) <= 20 and name != "serial adapter"].append((sum(pin_y(p) for p in pins) / len(pins), name))
    for left, entries in sides.items():
        lane = 0
        for top, name in stacked(sorted(entries), parts):
            wires = parts[name]
            x = LEFT_BOX if left else RIGHT_BOX
            edge, away = (x + BOX_W, 1) if left else (x, -1)
            dash = ' stroke-dasharray="6 4"' if wires[0]["fitted"] == "optional" else ""
            out.append(f'<rect x="{x}" y="{top:g}" width="{BOX_W}" height="{HEAD + ROW * len(wires)}" rx="8" fill="#f4f6f8" stroke="#59616c" stroke-width="1.5"{dash}/>')
            out.append(f'<text x="{x + 12}" y="{top + 22:g}" font-weight="bold">{escape(name + (" (optional)" if dash else ""))}</text>')
            down = [r for i, r in enumerate(wires) if runs(r, left) and pin_y(int(r["pico_pin"])) > top + row_y(i)]
            lanes = {}
            for r in [r for r in wires if runs(r, left) and r not in down] + down[::-1]:   # this order keeps a part's own wires from crossing
                lanes[r["part_pin"]] = lane
                lane += 1
            for i, r in enumerate(wires):
                y = top + row_y(i)
                near, far = ("end", "start") if left else ("start", "end")
                out.append(f'<text x="{edge - away * 12}" y="{y + 5:g}" text-anchor="{near}">{escape(r["part_pin"])}</text>')
                out.append(f'<text x="{edge - away * (BOX_W - 12)}" y="{y + 5:g}" text-anchor="{far}" fill="#59616c">{escape(r["signal"])}</text>')
                colour, pin = COLOURS[r["colour"]], int(r["pico_pin"])
                if not runs(r, left):
                    out.append(flag(edge, y, away, colour, "3V3" if r["signal"] == "3V3" else f"pin {pin}"))
                    continue
                bend = edge + away * (72 + 13 * lanes[r["part_pin"]])
                path = f"M{edge} {y:g} H{bend:g} V{pin_y(pin):g} H{(PICO_LEFT if left else PICO_RIGHT) - away * 5}"
                out.append(f'<path d="{path}" fill="none" stroke="#ffffff" stroke-width="6"/>')
                out.append(f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="2.5"{dash}/>')
                if r["in_series"]:
                    out.append(resistor(edge + away * 36, y, colour, r["in_series"]))
    out.append(flag(PICO_RIGHT + 5, pin_y(36), 1, COLOURS["red"], "3V3, one socket for IMU and IR"))
    out.append("</svg>")
    return "\n".join(out) + "\n"


def row_y(i):
    return HEAD + 12 + ROW * i


def runs(row, left):
    """Whether a wire is drawn in full: 3V3 and pins on the board's far side get a flag instead."""
    return row["signal"] != "3V3" and (int(row["pico_pin"]) <= 20) == left


def stacked(entries, parts):
    """(top, name) of each box: beside the middle of its pins, moved apart where boxes would overlap or leave the sheet."""
    heights = [HEAD + ROW * len(parts[name]) for _, name in entries]
    tops = [middle - tall / 2 for (middle, _), tall in zip(entries, heights)]
    for i in range(len(tops)):
        tops[i] = max(tops[i], TOP if i == 0 else tops[i - 1] + heights[i - 1] + GAP)
    for i in reversed(range(len(tops))):
        limit = HEIGHT - 20 if i == len(tops) - 1 else tops[i + 1] - GAP
        tops[i] = min(tops[i], limit - heights[i])
    return [(top, name) for top, (_, name) in zip(tops, entries)]


def resistor(x, y, colour, value):
    """A resistor in a wire, its middle at (x, y), where the wire still runs level beside its part."""
    return (f'<rect x="{x - 26}" y="{y - 10:g}" width="52" height="20" fill="#ffffff" stroke="{colour}" stroke-width="2.5"/>'
            f'<text x="{x}" y="{y + 5:g}" text-anchor="middle" font-weight="bold">{escape(value)}</text>')


def flag(x, y, away, colour, text):
    """A short stub with a name, for what would otherwise cross the whole drawing."""
    anchor = "start" if away > 0 else "end"
    return (f'<path d="M{x} {y:g} h{away * 14}" stroke="{colour}" stroke-width="2.5"/>'
            f'<text x="{x + away * 19}" y="{y + 5:g}" text-anchor="{anchor}" fill="{colour}" font-weight="bold">{escape(text)}</text>')


if __name__ == "__main__":
    if sys.argv[1:] == ["--check"]:
        current = DRAWING.exists() and DRAWING.read_text(encoding="utf-8") == draw()
        print("wiring.svg is what wiring.csv draws" if current else "wiring.svg is not what wiring.csv draws: run python3 hardware/wiring.py")
        sys.exit(0 if current else 1)
    if sys.argv[1:]:
        sys.exit("usage: wiring.py [--check]")
    DRAWING.write_text(draw(), encoding="utf-8")
