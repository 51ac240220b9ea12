#!/usr/bin/env python3
"""Render the pictures of the documents from sensor.scad and label them.

Needs openscad, xvfb-run and Pillow: `hardware/check --pictures` calls it with the right Python. Each view is a camera
(OpenSCAD's own numbers, parallel projection) and labels tied to points of the model, so that a label moves with its part.
"""
import math
import pathlib
import subprocess
import sys
import tempfile

from PIL import Image, ImageChops, ImageDraw, ImageFont

import stamp

HERE = pathlib.Path(__file__).resolve().parent
OUT = HERE.parent / "pictures"
SIZE, OVERSAMPLE = (1200, 800), 2
INK, HALO = (32, 36, 43), (255, 255, 255)
FONT = "/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf"

# name: (part, settings, (target, rotation, distance), [(point on the model, label's place as a share of the picture, text)])
VIEWS = {
    "sensor": ("assembly", {"tilt": 30}, ((2, 0, 14), (66, 0, 24), 420), [
        ((27, -40, 18), (0.62, 0.83), "mark button"),
        ((26.3, -27, 42), (0.70, 0.17), "status lamp"),
        ((11, -27, -14), (0.36, 0.90), "IR nose, looks beside the pad"),
        ((0, 8, 38), (0.50, 0.08), "saddle, turns by 90°"),
        ((30, 50, 34), (0.83, 0.25), "two cable ties round the neck"),
        ((-76, -7.6, 26), (0.04, 0.60), "USB lead"),
        ((-63, -9, 30), (0.10, 0.18), "lead tied to the tongue"),
        ((-12, -36, 20.5), (0.16, 0.80), "sound hole"),
    ]),
    "axes": ("axes", {"tilt": 30}, ((12, 0, 12), (66, 0, 28), 430), [
        ((94, -46, 4), (0.93, 0.72), "x  along the case"),
        ((57.2, 4, 4), (0.80, 0.28), "y  to the machine"),
        ((57.2, -46, 43), (0.55, 0.13), "z  along the spindle, away from the pad"),
    ]),
    "print": ("step_print", {}, ((0, -9, 0), (38, 0, 0), 500), [
        ((-50, 40, 34), (0.14, 0.07), "case, on its back"),
        ((-58, -48, 3), (0.14, 0.93), "lid, on its face"),
        ((58, -72, 14), (0.70, 0.95), "saddle, on its flat"),
        ((55, 58, 22), (0.76, 0.07), "nose: 15, 30 or 45 degrees"),
    ]),
    "step1-saddle": ("step_saddle", {}, ((0, -4, 16), (62, 0, 32), 400), [
        ((7, -45.8, 13.5), (0.56, 0.90), "four M3 × 10 countersunk screws, from inside"),
        ((0, 32, 40), (0.72, 0.12), "saddle"),
        ((-32, -9, 20), (0.10, 0.72), "ledges with pegs for the Pico"),
        ((-28.5, -20.8, 7), (0.14, 0.90), "posts for the IMU board"),
    ]),
    "step2-boards": ("step_boards", {}, ((-4, -10, 18), (72, 0, 12), 330), [
        ((-6, -10, 27), (0.40, 0.07), "Pico, pins towards you, USB to the left"),
        ((16.8, -10, 31.7), (0.86, 0.22), "two M2 × 6 screws at this end"),
        ((13, -26, 34.9), (0.86, 0.10), "sockets on the pins in use"),
        ((-18.3, -23.3, 7.6), (0.24, 0.93), "IMU board flat on its posts, parts upwards"),
        ((-5.6, -14.4, 10), (0.66, 0.93), "its cable plugs in at this end"),
        ((18, -24, 0), (0.88, 0.82), "opening for the IR board"),
        ((-43.2, -9, 26), (0.10, 0.72), "USB plug enters here"),
    ]),
    "step3-nose": ("step_nose", {"tilt": 30}, ((6, -12, -2), (84, 0, 24), 360), [
        ((19, -14, -16.5), (0.80, 0.58), "IR board, its can forward in the bore"),
        ((31, -20, -26), (0.84, 0.72), "nose: tilt in degrees on its flange"),
        ((0, -25, -50), (0.16, 0.86), "two M3 × 10 screws"),
        ((8, -36, 6), (0.14, 0.60), "spot side"),
    ]),
    "step4-lid": ("step_lid", {"tilt": 30}, ((0, -32, 14), (60, 0, 34), 440), [
        ((27, -84, 18), (0.74, 0.92), "button, nut inside"),
        ((-16, -55, 28), (0.14, 0.16), "piezo disc, glued to the lid's recess"),
        ((26, -27, 41), (0.78, 0.10), "lamp board under the top"),
        ((-38, -100, 5.5), (0.12, 0.93), "four M3 × 12 screws"),
    ]),
    "mount-neck": ("mount_neck", {"tilt": 45, "neck": 60, "panel_below": 95}, ((4, 20, -10), (76, 0, 58), 760), [
        ((11, -112, -95), (0.16, 0.90), "spot, beside the pad"),
        ((-30, -36, 34), (0.20, 0.16), "sensor on the neck, PAD arrow down"),
        ((50, 0, -84), (0.66, 0.92), "pad"),
        ((30, 14, -46), (0.82, 0.60), "sensor and lead stay above this edge"),
    ]),
    "mount-barrel": ("mount_barrel", {"tilt": 15, "neck": 60, "panel_below": 75}, ((44, 10, -14), (70, 0, 20), 820), [
        ((11, -37, -75), (0.30, 0.93), "spot, behind and beside the pad"),
        ((-40, -36, 6), (0.14, 0.62), "sensor level, on the right"),
        ((-76, -7.6, 26), (0.14, 0.12), "lead runs back with the mains lead"),
        ((138, -32, -61), (0.84, 0.93), "pad"),
        ((0, 14, 44), (0.42, 0.06), "saddle turned by 90°"),
    ]),
}


def project(point, camera):
    """Pixel of a model point, at SIZE. OpenSCAD: turn by (90 - rx, -ry, -rz) about the target, look along +y, up is z."""
    target, (rx, ry, rz), distance = camera
    x, y, z = (p - t for p, t in zip(point, target))
    for axis, degrees in (("z", -rz), ("y", -ry), ("x", 90 - rx)):
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        if axis == "z":
            x, y = c * x - s * y, s * x + c * y
        elif axis == "y":
            x, z = c * x + s * z, -s * x + c * z
        else:
            y, z = c * y - s * z, s * y + c * z
    scale = SIZE[1] / (2 * distance * math.tan(math.radians(22.5 / 2)))
    return SIZE[0] / 2 + x * scale, SIZE[1] / 2 - z * scale


def render(name):
    part, settings, camera, labels = VIEWS[name]
    with tempfile.TemporaryDirectory() as folder:
        raw = pathlib.Path(folder) / "raw.png"
        numbers = ",".join(str(v) for v in (*camera[0], *camera[1], camera[2]))
        command = ["xvfb-run", "-a", "openscad", "-q", "-o", str(raw), "--projection=o", "--colorscheme=Tomorrow",
                   f"--imgsize={SIZE[0] * OVERSAMPLE},{SIZE[1] * OVERSAMPLE}", f"--camera={numbers}",
                   "-D", f'part="{part}"', "-D", "as_printed=false"]
        for key, value in settings.items():
            command += ["-D", f"{key}={value}"]
        subprocess.run([*command, str(HERE / "sensor.scad")], check=True)
        picture = Image.open(raw).convert("RGB")
    ground = picture.getpixel((0, 0))
    backdrop = ImageChops.difference(picture, Image.new("RGB", picture.size, ground)).convert("L").point(lambda v: 0 if v else 255)
    picture.paste((255, 255, 255), mask=backdrop)
    picture = picture.resize(SIZE, Image.LANCZOS)
    draw, font = ImageDraw.Draw(picture), ImageFont.truetype(FONT, 21)
    for point, (u, v), text in labels:
        ax, ay = project(point, camera)
        width = draw.textlength(text, font=font)
        x = min(max(u * SIZE[0] - width / 2, 12), SIZE[0] - width - 12)
        y = v * SIZE[1] - 14
        # the leader leaves the label from the side that faces the point
        lx = min(max(ax, x), x + width)
        ly = y + 28 if ay > y + 14 else y - 2
        if y - 2 <= ay <= y + 28:
            lx, ly = (x - 6 if ax < x else x + width + 6), y + 13
        draw.line([(lx, ly), (ax, ay)], fill=HALO, width=5)
        draw.line([(lx, ly), (ax, ay)], fill=INK, width=2)
        draw.ellipse([ax - 5, ay - 5, ax + 5, ay + 5], fill=INK, outline=HALO, width=2)
        draw.text((x, y), text, font=font, fill=INK, stroke_width=4, stroke_fill=HALO)
    OUT.mkdir(exist_ok=True)
    picture.quantize(96, dither=Image.Dither.NONE).save(OUT / f"{name}.png", optimize=True)


if __name__ == "__main__":
    for view in sys.argv[1:] or VIEWS:
        render(view)
    if not sys.argv[1:]:
        stamp.record()
