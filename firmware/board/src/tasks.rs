//! Thin tasks: they own a peripheral and its timing; the [`station`](steadypass_firmware_core::station) decides.

pub mod button;
pub mod house;
pub mod indicator;
pub mod motion;
pub mod surface;
pub mod uart;
pub mod usb;
