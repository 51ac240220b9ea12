//! What the sensor decides, without touching a pin: everything here is pure, runs on a PC in tests and on the
//! microcontroller unchanged.
//!
//! # Data flow
//!
//! ```text
//! FIFO words ─► motion ─► blocks ─┐
//! IR words ─────────────► looks ──┼─► outbox ─► (transport)
//! button ───► button ───► marks ──┤
//! (transport) ─► session ─► replies ┘     session ─► indicator ─► (light, buzzer)
//! ```
//!
//! [`station::Station`] holds all of it; the board program calls it with what happened and when, and carries its frames
//! away. Nothing here waits, and nothing that samples depends on whether the frames are carried away: what does not fit
//! is dropped as whole frames, counted and reported.
//!
//! # Terms
//!
//! * *poll*: one look at how full the IMU's buffer is, and the reading of what was in it.
//! * *slot*: one tick of the accelerometer; the gyro has a sample in every eighth.
//! * *look*: one reading of the infrared thermometer.
#![cfg_attr(not(test), no_std)]
#![forbid(unsafe_code)]

pub mod button;
pub mod design;
pub mod indicator;
pub mod motion;
pub mod outbox;
pub mod sample_clock;
pub mod session;
pub mod station;
