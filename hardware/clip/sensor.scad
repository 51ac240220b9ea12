// Steadypass sensor: case, lid, IR nose and saddle. Millimetres.
//
// One frame for everything, the one marked on the case:
//   x  along the case, to the right when the lid faces you
//   y  from the lid towards the machine (the back of the case is the plane y = 0)
//   z  along the spindle, away from the pad (the outside of the floor is the plane z = 0)
// The IMU lies flat on the floor with its parts upwards, so that its z is this z.
//
// Pick a part and export it (F6, then STL), or let `hardware/check` build all of them.

part = "assembly";     // case, lid, nose, saddle; pictures: assembly, axes, step_..., mount_neck, mount_barrel; places
tilt = 15;             // nose: how far the beam leans outwards from the spindle's direction, degrees: 15, 30 or 45
neck = 60;             // pictures only: diameter of the machine's neck, 45 to 75
as_printed = true;     // true: lying as it is printed; false: in the frame above
marks = true;          // engraved axes and text
saddle_turned = false; // pictures only: false = neck along the spindle, true = barrel across it

include <boards.scad>  // sizes of the bought parts, generated from boards.csv

$fn = 40;
eps = 0.02;

// ---- case ------------------------------------------------------------------------------------
wall = 2.4;
back = 3;
ground = 3;            // floor
lid_t = 3;
end_wall = 8;          // at the USB end: holds the plug's moulding and two lid screws
length = 86.4;
height = 41;
depth_in = 30;         // pins, socket housings and the bend of their wires need this
x0 = -length / 2;
x1 = length / 2;
y_rim = -(back + depth_in);
y_out = y_rim - lid_t;
x_in0 = x0 + end_wall;
x_in1 = x1 - wall;
z_in1 = height - wall;

screw_thread = 2.5;    // M3 cutting its own thread
screw_free = 3.4;
lid_screws = [[x0 + 4, 5.5], [x0 + 4, height - 5.5], [x1 - 5.2, 5.5], [x1 - 5.2, height - 5.5]];

// ---- bought parts: corner of each box nearest x-, y-, z- -----------------------------------------
pico_stand = 6;
pico_at = [x_in0 + 1, -(back + pico_stand + pico[2]), 15.5];
pico_zc = pico_at[2] + pico[1] / 2;
usb_yc = -(back + pico_stand - pico_usb[2] / 2);
imu_stand = 4;
imu_at = [x_in0 + 4.2, -23.3, ground + imu_stand];
imu_c = [imu_at[0] + imu[0] / 2, imu_at[1] + imu[1] / 2];
button_c = [27, 18];
led_at = [18.8, -31.2, 30.2];
led_c = [led_at[0] + led[0] / 2, led_at[1] + 4.5];
buzzer_c = [-12, 20.5];

// ---- nose ------------------------------------------------------------------------------------
nose_x = 11;                       // the beam's axis
nose_y = -17;                      // where the axis meets the can's base
nose_z = 1;
hood = 4;                          // tube in front of the window
bore = ir_can[0] + 2 * ir_can_clearance + 0.1;
nose_screws = [[0, -25], [28, -25]];
nose_hole = [[3.5, -31], [24, -7]]; // opening in the floor

function beam(t) = [0, -sin(t), -cos(t)];
function window(t) = [nose_x, nose_y, nose_z] + ir_can[2] * beam(t);

// ---- saddle ----------------------------------------------------------------------------------
saddle_w = 40;
saddle_v = 25;                     // slope of each face of the V, degrees
saddle_apex = 7;
saddle_zc = height / 2;
saddle_screw = 7;
tie_at = 14;
tie_slot = [9, 3];
function neck_off(d) = saddle_apex + d / 2 / cos(saddle_v);

// ---- helpers ---------------------------------------------------------------------------------
module outline(grow = 0, r = 4) {   // x-z outline of the case, extruded along -y from y = 0
    translate([x0, 0]) offset(r = r) offset(delta = grow - r) square([length, height]);
}
module along_y(y_from, y_to) {      // 2D drawn in x-z, extruded between two y planes
    translate([0, max(y_from, y_to), 0]) rotate([90, 0, 0]) linear_extrude(abs(y_to - y_from)) children();
}
module box(from, to) { translate(from) cube(to - from); }
module rod(x, z, d, y_from, y_to) { translate([x, max(y_from, y_to), z]) rotate([90, 0, 0]) cylinder(d = d, h = abs(y_to - y_from)); }
module words(t, size) { text(t, size = size, font = "Liberation Sans:style=Bold", halign = "center", valign = "center"); }
module arrow(len, w = 1.1) {
    translate([0, -w / 2]) square([len - 2.2, w]);
    translate([len - 3.2, 0]) polygon([[0, -1.9], [3.2, 0], [0, 1.9]]);
}

// ---- case ------------------------------------------------------------------------------------
module case_body() {
    difference() {
        union() {
            difference() {
                along_y(0, y_rim) outline();
                // inside, less the two lid posts at the far end
                difference() {
                    box([x_in0, y_rim - 1, ground], [x_in1, -back, z_in1]);
                    for (z = [[0, 9], [height - 9, height]])
                        box([x1 - 8.7, y_rim - 2, z[0]], [x1, 0, z[1]]);
                }
            }
            // ledges with pegs at the USB end of the Pico (the receptacle leaves no room for screws) ...
            for (s = [-1, 1]) {
                px = pico_at[0] + (pico[0] - pico_holes[0]) / 2;
                pz = pico_zc + s * pico_holes[1] / 2;
                translate([px, 0, pz + s * 0.9]) along_y(-back + 1, -back - pico_stand) square([4.6, 4.4], center = true);
                rod(px, pz, 1.9, -back - 1, -back - pico_stand - 2.2);
                rod(px + pico_holes[0], pz, 5.4, -back + 1, -back - pico_stand);   // ... and screw posts at the other
            }
            // IMU posts
            for (sx = [-1, 1], sy = [-1, 1])
                translate([imu_c[0] + sx * imu_holes[0] / 2, imu_c[1] + sy * imu_holes[1] / 2, ground - 1])
                    cylinder(d = 5.6, h = imu_stand + 1);
            // bosses for the nose's screws
            for (p = nose_screws) translate([p[0], p[1], ground - 1]) cylinder(d = 7, h = 7);
            tongue();
        }
        for (s = [-1, 1])
            rod(pico_at[0] + (pico[0] + pico_holes[0]) / 2, pico_zc + s * pico_holes[1] / 2, 1.7, -1.6, -back - pico_stand - 1);
        for (sx = [-1, 1], sy = [-1, 1])
            translate([imu_c[0] + sx * imu_holes[0] / 2, imu_c[1] + sy * imu_holes[1] / 2, 1.5]) cylinder(d = 2.1, h = 10);
        for (p = nose_screws) translate([p[0], p[1], -1]) cylinder(d = screw_thread, h = 8.6);
        for (p = lid_screws) rod(p[0], p[1], screw_thread, y_rim - 1, y_rim + 14);
        // the opening above the nose
        box([nose_hole[0][0], nose_hole[0][1], -1], [nose_hole[1][0], nose_hole[1][1], ground + 1]);
        // USB plug
        translate([0, 0, 0]) box([x0 - 1, usb_yc - 5, pico_zc - 6.5], [x_in0 + 1, usb_yc + 5, pico_zc + 6.5]);
        // status lamp, in the top near the lid: seen from above and from the front
        translate([led_c[0], led_c[1], height - 5]) cylinder(d = 5.3, h = 10);
        // saddle screws, countersunk from inside
        for (sx = [-1, 1], sz = [-1, 1]) {
            rod(sx * saddle_screw, saddle_zc + sz * saddle_screw, screw_free, 1, -back - 1);
            translate([sx * saddle_screw, -back + 1.6, saddle_zc + sz * saddle_screw])
                rotate([90, 0, 0]) cylinder(d1 = screw_free, d2 = 6.4, h = 1.62);
        }
        if (marks) top_marks();
    }
}
// Tongue behind the USB plug: two cable ties hold the lead on it, so that a tug never reaches the plug.
module tongue() {
    reach = 25;
    difference() {
        union() {
            along_y(0, -2.6) translate([x0 - reach, pico_zc - 9]) offset(r = 2) offset(delta = -2) square([reach + 6, 18]);
            along_y(-1, usb_yc) translate([x0 - reach, pico_zc - 4.2]) square([9, 8.4]);
        }
        translate([x0 - reach - 1, usb_yc - 0.6, pico_zc]) rotate([0, 90, 0]) cylinder(d = 4.8, h = 11);   // the lead lies here
        for (s = [-1, 1]) along_y(1, -back - 1) translate([x0 - reach + 4.5 - 2, pico_zc + s * 5.6 - 1]) square([4, 2]);
    }
}
module top_marks_2d() {
    translate([-2, -22]) rotate(90) arrow(14);
    translate([3.6, -15]) words("y", 5.4);
    translate([-22, -15]) words("MACHINE", 3.6);
}
module top_marks(depth = 0.6) { translate([0, 0, height - depth]) linear_extrude(depth + 1) top_marks_2d(); }

// ---- lid -------------------------------------------------------------------------------------
module lid() {
    difference() {
        union() {
            hull() {
                along_y(y_rim, y_out + 1) outline();
                along_y(y_rim, y_out) outline(-1, 3);
            }
            // lips along the long edges keep the lid from sliding
            for (z = [ground + 0.3, z_in1 - 1.9]) box([x_in0 + 4, y_rim - 1, z], [14, y_rim + 2, z + 1.6]);
        }
        for (p = lid_screws) {
            rod(p[0], p[1], screw_free, y_rim + 1, y_out - 1);
            rod(p[0], p[1], 6.2, y_out + 1.2, y_out - 1);
        }
        rod(button_c[0], button_c[1], 12.3, y_rim + 1, y_out - 1);
        // piezo disc: glued by its rim over a shallow chamber with a small hole
        rod(buzzer_c[0], buzzer_c[1], buzzer[0] + 2 * buzzer_clearance, y_rim + 1, y_rim - 0.7);
        rod(buzzer_c[0], buzzer_c[1], buzzer[0] - 3.5, y_rim + 1, y_rim - 1.5);
        rod(buzzer_c[0], buzzer_c[1], 2.6, y_rim + 1, y_out - 1);
        if (marks) lid_marks();
    }
}
module lid_marks_2d() {
    translate([-38, 12]) { arrow(11); translate([13.8, 0]) words("x", 5.4); }
    translate([-38, 12]) { rotate(90) arrow(14); translate([0, 17.4]) words("z", 5.4); }
    translate([-9.5, 34]) words("STEADYPASS", 3.6);
    translate([10.5, 10.6]) { rotate(-90) arrow(7); translate([0, 3.4]) words("PAD", 3.4); }
    translate([27, 28.4]) words("MARK", 3.2);
}
module lid_marks(depth = 0.6) { translate([0, y_out + depth, 0]) rotate([90, 0, 0]) linear_extrude(depth + 1) lid_marks_2d(); }
module ink() {   // pictures only: the engraving filled with white
    color("#f2f2ee") {
        translate([0, 0, height - 0.5]) linear_extrude(0.52) top_marks_2d();
        translate([0, y_out + 0.5, 0]) rotate([90, 0, 0]) linear_extrude(0.52) lid_marks_2d();
    }
}

// ---- nose ------------------------------------------------------------------------------------
module nose_frame(t) { translate([nose_x, nose_y, nose_z]) rotate([-t, 0, 0]) children(); }  // local -z is the beam
module nose(t = tilt) {
    end = window(t) + hood * beam(t);
    pocket = [ir[0] + 2 * ir_clearance, ir[1] + 2 * ir_clearance];
    difference() {
        union() {
            box([-5.5, -32.5, -3], [33.5, -4.5, 0]);
            hull() {
                box([nose_x - 8.9, -31.5, -3.5], [nose_x + 14.4, -5.5, -2]);
                nose_frame(t) translate([0, 0, -ir_can[2] - hood]) cylinder(d = bore + 4.8, h = 6);
            }
        }
        nose_frame(t) {
            translate([0, 0, -60]) cylinder(d = bore, h = 70);
            translate([-ir_can[0] / 2 - 1.6, -pocket[1] / 2, 0]) cube([pocket[0] + 0.2, pocket[1], 40]);   // the can sits at one end of the board
        }
        box([-50, -80, 0], [60, 40, 60]);
        for (p = nose_screws) translate([p[0], p[1], -40]) { cylinder(d = screw_free, h = 60); cylinder(d = 6.6, h = 37.0); }
        if (marks) translate([nose_x + 18.5, -12.5, -3 + 0.6]) rotate([180, 0, 0]) linear_extrude(2) words(str(t), 4);
    }
}

// ---- saddle ----------------------------------------------------------------------------------
module saddle() {
    w = saddle_w / 2;
    edge = saddle_apex + w * tan(saddle_v);
    translate([0, 0, saddle_zc]) difference() {
        translate([0, 0, -w]) linear_extrude(saddle_w)
            polygon([[-w, 0], [w, 0], [w, edge - 1.2], [w - 1.2, edge - 1.2 * tan(saddle_v)], [0, saddle_apex], [-w + 1.2, edge - 1.2 * tan(saddle_v)], [-w, edge - 1.2]]);
        for (s = [-1, 1]) {
            box([-w - 1, 2.2, s * tie_at - tie_slot[0] / 2], [w + 1, 2.2 + tie_slot[1], s * tie_at + tie_slot[0] / 2]);
            for (sx = [-1, 1]) rod(sx * saddle_screw, s * saddle_screw, screw_thread, -1, 8);
        }
    }
}
module saddle_placed(turned = saddle_turned) {
    translate([0, 0, saddle_zc]) rotate([0, turned ? 90 : 0, 0]) translate([0, 0, -saddle_zc]) saddle();
}

// ---- bought parts, as boxes and simple shapes --------------------------------------------------
used_pins = [3, 6, 7, 8, 9, 10, 13, 18, 19, 20, 21, 22, 23, 24, 36];   // as in wiring.csv; checked
module pico_pin(n, z, used) {
    x = 1.37 + 2.54 * ((n <= 20 ? n : 41 - n) - 1);
    color("#26262a") translate([x - 1.27, -2.5, z - 1.27]) cube([2.54, 2.5, 2.54]);
    if (len([for (u = used) if (u == n) u]) > 0)
        color("#3a3a41") translate([x - 1.2, -pico_row[2], z - 1.2]) cube([2.4, 14, 2.4]);
    else
        color("#d8b04a") translate([x - 0.3, -8.5, z - 0.3]) cube([0.6, 6.2, 0.6]);
}
module boards(panel_parts = true) {
    translate(pico_at) {
        color("#2e7d4f") difference() {
            cube([pico[0], pico[2], pico[1]]);
            for (x = [2, 49], z = [-5.7, 5.7]) translate([x, -1, pico[1] / 2 + z]) rotate([-90, 0, 0]) cylinder(d = pico_hole, h = 4);
        }
        color("#c9ccd1") translate([-1.3, pico[2], pico[1] / 2 - pico_usb[1] / 2]) cube([pico_usb[0], pico_usb[2], pico_usb[1]]);
        // socket housings on the pins that the wiring table uses, bare pins elsewhere; pin 1 is at the USB end of the upper row
        for (n = [1 : 20]) { pico_pin(n, pico[1] - 1.61, used_pins); pico_pin(41 - n, 1.61, used_pins); }
    }
    translate(imu_at) {
        color("#20242b") cube([imu[0], imu[1], imu[2]]);
        color("#e8e4d8") for (x = [0, imu[0] - 4.2]) translate([x, imu[1] / 2 - 3, imu[2]]) cube([4.2, 6, 2.9]);
        color("#111") translate([imu[0] / 2 - 1.5, imu[1] / 2 - 1.25, imu[2]]) cube([3, 2.5, 0.9]);
    }
    if (panel_parts) { button_part(); led_board(); buzzer_part(); }
}
module button_part() {
    color("#b5452c") {
        rod(button_c[0], button_c[1], 15.5, y_out, y_out - 2);
        rod(button_c[0], button_c[1], 9, y_out - 2, y_out - 4.5);
    }
    color("#8a8f98") rod(button_c[0], button_c[1], 11.6, y_out, y_out + 22 + lid_t);
}
module led_board() {
    translate(led_at) {
        color("#20242b") cube([led[0], led[1], 1.6]);
        color("#f4f4f0") translate([led[0] / 2, 4.5, 1.6]) { cylinder(d = 5, h = 8); translate([0, 0, 8]) sphere(d = 5); }
    }
}
module buzzer_part() { color("#d8b04a") rod(buzzer_c[0], buzzer_c[1], buzzer[0], y_rim - 0.2, y_rim - 0.7); }
module ir_board(t = tilt) {
    nose_frame(t) {
        color("#3a3f8f") translate([-ir_can[0] / 2 - 1.3, -ir[1] / 2, 0.05]) cube([ir[0], ir[1], ir[2]]);
        color("#c9ccd1") translate([0, 0, -ir_can[2]]) cylinder(d = ir_can[0], h = ir_can[2]);
    }
}
module usb_lead() {
    color("#3b3f46") {
        translate([x_in0 - usb_plug[0] + 0.5, usb_yc - usb_plug[2] / 2, pico_zc - usb_plug[1] / 2]) cube([usb_plug[0], usb_plug[2], usb_plug[1]]);
        translate([x0 - 45, usb_yc, pico_zc]) rotate([0, 90, 0]) cylinder(d = 4.2, h = 40);
    }
    color("#e9e9e9") difference() {
        translate([x0 - 20.5 - 1.3, usb_yc / 2 - 2.2, pico_zc]) rotate([0, 90, 0]) cylinder(d = 14, h = 2.6);
        translate([x0 - 20.5 - 2, usb_yc / 2 - 2.2, pico_zc]) rotate([0, 90, 0]) cylinder(d = 12, h = 5);
    }
}

// ---- machine and pad, for pictures: no particular make ------------------------------------------
module tie(at) {   // a cable tie round saddle and neck, in the plane of the neck's axis = at
    color("#e9e9e9") translate([0, 0, at - 3.8]) linear_extrude(7.6) difference() {
        offset(1.6) hull() { translate([0, neck_off(neck)]) circle(d = neck, $fn = 80); translate([-18.5, 3]) square([37, 1]); }
        hull() { translate([0, neck_off(neck)]) circle(d = neck, $fn = 80); translate([-18.5, 3]) square([37, 1]); }
    }
}
c_case = "#4b5666";
c_lid = "#6b7788";
c_small = "#d0722f";
module mounted_sensor(turned) {
    color(c_case) case_body();
    color(c_lid) lid();
    ink();
    color(c_small) nose();
    color(c_small) saddle_placed(turned);
    boards();
    ir_board();
    usb_lead();
    translate([0, 0, saddle_zc]) rotate([0, turned ? 90 : 0, 0]) for (s = [-1, 1]) tie(s * tie_at);
}
module screw_m3(len, head = 6) {   // pointing to -z, head upwards
    color("#d7dade") { translate([0, 0, -len]) cylinder(d = 3, h = len); translate([0, 0, -0.01]) cylinder(d = head, h = 1.8); }
}
module screw_m3_countersunk(len, head = 6) {   // the same with a countersunk head; len with the head, as such screws are named
    color("#d7dade") {
        translate([0, 0, -len]) cylinder(d = 3, h = len);
        translate([0, 0, -1.7]) cylinder(d1 = 3, d2 = head, h = 1.7);
    }
}
// Step 1: saddle on the back of the empty case, four countersunk screws from inside.
module step_saddle() {
    color(c_case) case_body();
    ink_top();
    translate([0, 26, 0]) color(c_small) saddle_placed(false);
    for (sx = [-1, 1], sz = [-1, 1]) translate([sx * saddle_screw, -44, saddle_zc + sz * saddle_screw]) rotate([90, 0, 0]) screw_m3_countersunk(10);
}
module ink_top() { color("#f2f2ee") translate([0, 0, height - 0.5]) linear_extrude(0.52) top_marks_2d(); }
// Step 2: the two boards in the case.
module step_boards() {
    color(c_case) case_body();
    ink_top();
    color(c_small) saddle_placed(false);
    boards(panel_parts = false);
}
// Step 3: IR board in its nose, nose under the case.
module step_nose() {
    color(c_case) case_body();
    color(c_lid) lid();
    ink();
    translate([0, 0, -24]) color(c_small) nose();
    translate(-9 * beam(tilt) + [0, 0, -24]) ir_board();
    for (p = nose_screws) translate([p[0], p[1], -52]) rotate([180, 0, 0]) screw_m3(10);
}
// Step 4: button, buzzer and lamp, then the lid.
module step_lid() {
    color(c_case) case_body();
    ink_top();
    color(c_small) nose();
    ir_board();
    boards(panel_parts = false);
    led_board();
    translate([0, -48, 0]) {
        color(c_lid) lid();
        color("#f2f2ee") translate([0, y_out + 0.5, 0]) rotate([90, 0, 0]) linear_extrude(0.52) lid_marks_2d();
        button_part();
        for (p = lid_screws) translate([p[0], y_out - 14, p[1]]) rotate([90, 0, 0]) screw_m3(12, 5.5);
    }
    translate([0, -22, 0]) buzzer_part();
}
// The printed parts as they lie on the printer's bed.
module step_print() {
    color("#e3e6ea") translate([-100, -104, -1.3]) cube([200, 187, 1]);
    translate([-28, 12, 0]) lying("case", true) color(c_case) case_body();
    translate([-28, -20, 0]) lying("lid", true) color(c_lid) lid();
    translate([58, -58, 0]) lying("saddle", true) color(c_small) saddle();
    for (i = [0 : 2]) translate([44, 42 - 40 * i, 0]) lying("nose", true) color(c_small) nose(15 + 15 * i);
}
module axis3(dir, len, c) {
    color(c) rotate(dir == "x" ? [0, 90, 0] : dir == "y" ? [-90, 0, 0] : [0, 0, 0]) {
        cylinder(d = 2.2, h = len);
        translate([0, 0, len]) cylinder(d1 = 6, d2 = 0, h = 9);
    }
}
module axes_view() {
    mounted_sensor(false);
    translate([x1 + 14, y_out - 10, 4]) {
        color("#20242b") sphere(d = 4);
        axis3("x", 26, "#0072b2");
        axis3("y", 40, "#009e73");
        axis3("z", 30, "#d55e00");
    }
}
module cone(t = tilt, fov = 5, len = 90) {   // from the mouth of the nose to the panel
    start = hood + 0.5;
    color("#d6402f") translate(window(t)) rotate([-t, 0, 0]) translate([0, 0, -len])
        cylinder(r1 = 2.5 + len * tan(fov / 2), r2 = 2.5 + start * tan(fov / 2), h = len - start);
}
// pad of a given diameter under a spindle at (x, y); `panel_z` is the panel's height in the case's frame
module pad(x, y, d, panel_z) {
    translate([x, y, panel_z]) {
        color("#d9a441") cylinder(d1 = d, d2 = d - 6, h = 25, $fn = 80);
        color("#6b7280") translate([0, 0, 25]) cylinder(d1 = d - 20, d2 = d - 26, h = 8, $fn = 80);
    }
}
module panel(x, y, z, w = 330, d = 330) { color("#b9c7d6") translate([x - w / 2, y - d / 2, z - 1]) cube([w, d, 1]); }
panel_below = 78;      // pictures: from the case's floor to the panel

module mount_neck(pad_d = 130) {
    yc = neck_off(neck);
    mounted_sensor(false);
    cone(tilt, 5, (panel_below + window(tilt)[2]) / cos(tilt));
    pad(0, yc, pad_d, -panel_below);
    panel(20, yc - 40, -panel_below);
    color("#9aa3ad") translate([0, yc, -panel_below + 33]) {
        cylinder(d = 26, h = 30, $fn = 60);
        translate([0, 0, 14]) cylinder(d1 = neck + 24, d2 = neck, h = 20, $fn = 80);
        translate([0, 0, 34]) cylinder(d = neck, h = 66, $fn = 80);
        translate([0, 0, 94]) cylinder(d1 = neck, d2 = neck + 18, h = 12, $fn = 80);
        hull() {
            translate([0, 0, 106]) cylinder(d = neck + 18, h = 34, $fn = 80);
            translate([0, 90, 122]) rotate([-90, 0, 0]) cylinder(d = 58, h = 60, $fn = 60);
        }
    }
}
module mount_barrel(pad_d = 150, reach = 118) {
    yc = neck_off(neck);
    zc = saddle_zc;
    mounted_sensor(true);
    cone(tilt, 5, (panel_below + window(tilt)[2]) / cos(tilt));
    pad(reach, yc, pad_d, -panel_below);
    panel(reach - 40, yc - 10, -panel_below, 360, 300);
    color("#9aa3ad") {
        translate([-130, yc, zc]) rotate([0, 90, 0]) cylinder(d = neck, h = reach + 110, $fn = 80);
        hull() {
            translate([reach - 24, yc, zc]) rotate([0, 90, 0]) cylinder(d = neck, h = 30, $fn = 80);
            translate([reach, yc, zc - 34]) cylinder(d = 84, h = 40, $fn = 80);
        }
        translate([reach, yc, -panel_below + 33]) cylinder(d1 = 60, d2 = 84, h = zc - 34 + panel_below - 33, $fn = 60);
    }
}

// ---- what to show ------------------------------------------------------------------------------
module lying(p, always = false) {
    if (!as_printed && !always) children();
    else if (p == "case") rotate([-90, 0, 0]) children();      // on its back
    else if (p == "lid") translate([0, 0, -y_out]) rotate([90, 0, 0]) children();   // on its face
    else if (p == "nose") rotate([180, 0, 0]) children();      // on its flange
    else if (p == "saddle") rotate([90, 0, 0]) children();     // on its flat
    else children();
}
if (part == "case") lying(part) case_body();
else if (part == "lid") lying(part) lid();
else if (part == "nose") lying(part) nose();
else if (part == "saddle") lying(part) saddle();
else if (part == "assembly") mounted_sensor(saddle_turned);
else if (part == "step_saddle") step_saddle();
else if (part == "step_boards") step_boards();
else if (part == "step_nose") step_nose();
else if (part == "step_lid") step_lid();
else if (part == "step_print") step_print();
else if (part == "axes") axes_view();
else if (part == "mount_neck") mount_neck();
else if (part == "mount_barrel") mount_barrel();
else if (part == "places") {
    // For the checks: each bought part's box in the case's frame [from, to], and the beams.
    echo(place = "pico", from = pico_at, to = pico_at + [pico[0], pico[2], pico[1]]);
    echo(place = "pico_usb", from = [pico_at[0] - 1.3, pico_at[1] + pico[2], pico_zc - pico_usb[1] / 2], to = [pico_at[0] - 1.3 + pico_usb[0], pico_at[1] + pico[2] + pico_usb[2], pico_zc + pico_usb[1] / 2]);
    for (row = [["upper", pico[1] - 1.61], ["lower", 1.61]])
        let (at = pico_at + [1.37 - 1.27, -pico_row[2], row[1] - pico_row[1] / 2])
            echo(place = str("pico_row_", row[0]), size = "pico_row", from = at, to = at + [pico_row[0], pico_row[2], pico_row[1]]);
    echo(place = "imu", from = imu_at, to = imu_at + [imu[0], imu[1], imu[2]]);
    echo(place = "imu_parts", from = [imu_at[0], imu_c[1] - imu_parts[1] / 2, imu_at[2] + imu[2]], to = [imu_at[0] + imu_parts[0], imu_c[1] + imu_parts[1] / 2, imu_at[2] + imu[2] + imu_parts[2]]);
    echo(place = "button", from = [button_c[0] - button[0] / 2, y_rim, button_c[1] - button[1] / 2], to = [button_c[0] + button[0] / 2, y_rim + button[2], button_c[1] + button[1] / 2]);
    echo(place = "led", from = led_at, to = led_at + [led[0], led[1], led[2]]);
    echo(place = "buzzer", from = [buzzer_c[0] - buzzer[0] / 2, y_rim - 0.7, buzzer_c[1] - buzzer[1] / 2], to = [buzzer_c[0] + buzzer[0] / 2, y_rim - 0.7 + buzzer[2], buzzer_c[1] + buzzer[1] / 2]);
    echo(place = "usb_plug", from = [x_in0 + 0.3 - 1 - usb_plug[0], usb_yc - usb_plug[2] / 2, pico_zc - usb_plug[1] / 2], to = [x_in0 + 0.3 - 1, usb_yc + usb_plug[2] / 2, pico_zc + usb_plug[1] / 2]);
    echo(imu_chip = [imu_c[0], imu_c[1], imu_at[2] + imu[2] + 0.4]);
    for (t = [15, 30, 45]) echo(tilt = t, base = [nose_x, nose_y, nose_z], window = window(t), bore = bore, board = [ir[0], ir[1], ir[2]], board_x = -ir_can[0] / 2 - 1.3);
    echo(case_from = [x0, y_out, 0], case_to = [x1, 0, height], lid_y = y_rim, saddle_zc = saddle_zc);
    echo(saddle_w = saddle_w, apex = saddle_apex, slot = 2.2 + tie_slot[1] / 2);
    for (d = [45, 60, 75]) echo(neck = d, off = neck_off(d), reach = d / 2 * sin(saddle_v));
    cube(1);
}
