//! Watches the mark button.

use crate::idle::metered;
use crate::shared::{Shared, now_us};
use embassy_futures::select::select;
use embassy_rp::gpio::Input;
use embassy_time::Timer;
use steadypass_firmware_core::button::Button;

/// See the module. `input` is pulled up; the button connects it to ground.
#[embassy_executor::task]
pub async fn button(input: Input<'static>, shared: &'static Shared) -> ! {
    metered(run(input, shared)).await
}

async fn run(mut input: Input<'static>, shared: &Shared) -> ! {
    let mut button = Button::default();
    loop {
        if button.is_busy() {
            select(input.wait_for_any_edge(), Timer::after_millis(5)).await;
        } else {
            input.wait_for_any_edge().await;
        }
        if let Some(closed_us) = button.seen(now_us(), input.is_low()) {
            shared.with(|station| station.marked(closed_us));
        }
    }
}
