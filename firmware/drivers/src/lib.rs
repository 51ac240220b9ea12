//! Drivers for the two chips of the sensor, one chip per file.
//!
//! * [`lsm6dsox`]: motion, read in bursts from the chip's own buffer.
//! * [`mlx90614`]: the panel's surface temperature, by infrared.
//!
//! A driver owns its bus and knows the chip's registers, nothing else: no clock, no retries, no time limits. Those belong
//! to the task that uses it. What can be decided from bytes alone is a plain function with its own tests.
//!
//! Registers are cited by document and section; "vendor header" is the chip maker's public register header, and what was
//! written from memory says so.
#![cfg_attr(not(test), no_std)]
#![forbid(unsafe_code)]

pub mod lsm6dsox;
pub mod mlx90614;
