// Made from boards.csv by boards.py: change the table, not this file. Millimetres.
// name = [length, width, height]; name_holes = [pitch along, pitch across].
pico = [51, 21, 1];
pico_clearance = 0.4;
pico_holes = [47, 11.4];
pico_hole = 2.1;
pico_usb = [5.7, 8, 2.8];
pico_usb_clearance = 0.2;
pico_row = [50.8, 2.54, 16.5];
pico_row_clearance = 0.2;
imu = [25.4, 17.8, 1.6];
imu_clearance = 0.5;
imu_holes = [20.32, 12.7];
imu_hole = 2.5;
imu_parts = [25.4, 10, 3];
imu_parts_clearance = 0.3;
ir = [17, 11.5, 1.6];
ir_clearance = 0.3;
ir_can = [9.3, 9.3, 17.2];
ir_can_clearance = 0.15;
button = [13, 13, 22];
button_clearance = 0.3;
led = [15, 18.5, 8];
led_clearance = 0.3;
buzzer = [20, 20, 0.5];
buzzer_clearance = 0.2;
usb_plug = [22, 11.5, 8.5];
usb_plug_clearance = 0.4;
