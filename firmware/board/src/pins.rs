//! Which GPIO does what. This table is the wiring: `hardware/` is checked against it, and [`claim!`](crate::claim!) makes
//! the compiler check every pin the program takes against it, so neither can drift.

/// IMU bus, data (I2C0).
pub const IMU_SDA: u8 = 4;
/// IMU bus, clock (I2C0).
pub const IMU_SCL: u8 = 5;
/// Thermometer bus, data (I2C1).
pub const IR_SDA: u8 = 6;
/// Thermometer bus, clock (I2C1).
pub const IR_SCL: u8 = 7;
/// Second transport, from the sensor (UART0).
pub const UART_TX: u8 = 0;
/// Second transport, to the sensor (UART0).
pub const UART_RX: u8 = 1;
/// Mark button, to ground; pulled up inside.
pub const MARK_BUTTON: u8 = 15;
/// Plain light on the board.
pub const LED_ONBOARD: u8 = 25;
/// Red of the three-colour light (PWM 0 A), high is on.
pub const LED_RED: u8 = 16;
/// Green of the three-colour light (PWM 0 B), high is on.
pub const LED_GREEN: u8 = 17;
/// Blue of the three-colour light (PWM 1 A), high is on.
pub const LED_BLUE: u8 = 18;
/// Buzzer without an oscillator of its own (PWM 7 A).
pub const BUZZER: u8 = 14;
