//! Light and buzzer: what the station says, fifty times a second.

use crate::idle::metered;
use crate::shared::{Shared, now_us};
use embassy_rp::gpio::Output;
use embassy_rp::pwm::{Config, Pwm};
use embassy_time::{Duration, Ticker};
use steadypass_firmware_core::indicator::Look;

/// Counts of one light cycle: 125 MHz / 250 / 1000 = 500 Hz, above what flickers.
const LIGHT_DIVIDER: u8 = 250;
const LIGHT_COUNTS: u16 = 1000;

/// Buzzer counts a second: 125 MHz / 125.
const TONE_DIVIDER: u8 = 125;
const TONE_COUNTS_HZ: u32 = 1_000_000;

/// Cycle of the silent buzzer output, counts.
const SILENT_COUNTS: u16 = 2000;

/// The pins it drives.
pub struct Indicator {
    /// Red on channel A, green on channel B.
    pub red_green: Pwm<'static>,
    /// Blue on channel A.
    pub blue: Pwm<'static>,
    /// Buzzer on channel A.
    pub buzzer: Pwm<'static>,
    /// Plain light.
    pub plain: Output<'static>,
}

impl Indicator {
    fn show(&mut self, look: Look) {
        let [red, green, blue] = look.rgb_percent.map(|percent| u16::from(percent) * (LIGHT_COUNTS / 100));
        self.red_green.set_config(&cycle(LIGHT_DIVIDER, LIGHT_COUNTS, red, green));
        self.blue.set_config(&cycle(LIGHT_DIVIDER, LIGHT_COUNTS, blue, 0));
        let (counts, on) = match look.tone_hz {
            Some(hz) => {
                let counts = (TONE_COUNTS_HZ / u32::from(hz.max(20))) as u16;
                (counts, counts / 2)
            }
            None => (SILENT_COUNTS, 0),
        };
        self.buzzer.set_config(&cycle(TONE_DIVIDER, counts, on, 0));
        self.plain.set_level(look.plain.into());
    }
}

/// A PWM cycle of `counts`, with channels A and B high for `a` and `b` of them.
fn cycle(divider: u8, counts: u16, a: u16, b: u16) -> Config {
    let mut config = Config::default();
    config.divider = divider.into();
    config.top = counts - 1;
    (config.compare_a, config.compare_b) = (a, b);
    config
}

/// See the module.
#[embassy_executor::task]
pub async fn indicator(pins: Indicator, shared: &'static Shared) -> ! {
    metered(run(pins, shared)).await
}

async fn run(mut pins: Indicator, shared: &Shared) -> ! {
    let mut shown = Look::default();
    pins.show(shown);
    let mut ticker = Ticker::every(Duration::from_millis(20));
    loop {
        let look = shared.with(|station| station.look(now_us()));
        if look != shown {
            pins.show(look);
            shown = look;
        }
        ticker.next().await;
    }
}
