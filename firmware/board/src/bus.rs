//! An I2C bus that can be freed when a chip holds it.
//!
//! A chip that was interrupted in the middle of an answer (the microcontroller restarted, a transfer was given up) keeps
//! SDA low and waits for clocks. The controller then never starts. The remedy is the I2C specification's bus clear
//! (UM10204, section 3.1.16): up to nine clocks by hand until SDA is let go, then a stop.

use embassy_rp::Peri;
use embassy_rp::gpio::{Flex, Pull};
use embassy_rp::i2c::{Async, Config, I2c, Instance, InterruptHandler, SclPin, SdaPin};
use embassy_rp::interrupt::typelevel::Binding;
use embassy_time::{Duration, TimeoutError, Timer, with_timeout};

/// Longest time for one transfer. The longest burst takes 6 ms at 400 kHz, a thermometer word 0.6 ms at 100 kHz.
const TRANSFER_LIMIT: Duration = Duration::from_millis(20);

/// Half a clock of the bus clear: 100 kHz at most.
const HALF_CLOCK: Duration = Duration::from_micros(5);

/// Waits for a transfer, but not for ever. After a timeout the bus must be opened anew.
pub async fn limited<T>(transfer: impl Future<Output = T>) -> Result<T, TimeoutError> {
    with_timeout(TRANSFER_LIMIT, transfer).await
}

/// One bus with its pins.
pub struct Bus<T: Instance + 'static, Scl: SclPin<T> + 'static, Sda: SdaPin<T> + 'static> {
    i2c: Peri<'static, T>,
    scl: Peri<'static, Scl>,
    sda: Peri<'static, Sda>,
    frequency_hz: u32,
}

impl<T: Instance, Scl: SclPin<T>, Sda: SdaPin<T>> Bus<T, Scl, Sda> {
    /// Takes the parts.
    pub fn new(i2c: Peri<'static, T>, scl: Peri<'static, Scl>, sda: Peri<'static, Sda>, frequency_hz: u32) -> Self {
        Self { i2c, scl, sda, frequency_hz }
    }

    /// Frees the bus if a chip holds it, and starts the controller afresh.
    pub async fn open(&mut self, irqs: impl Binding<T::Interrupt, InterruptHandler<T>>) -> I2c<'_, T, Async> {
        self.clear().await;
        let mut config = Config::default();
        config.frequency = self.frequency_hz;
        I2c::new_async(self.i2c.reborrow(), self.scl.reborrow(), self.sda.reborrow(), irqs, config)
    }

    async fn clear(&mut self) {
        let mut scl = Flex::new(self.scl.reborrow());
        let mut sda = Flex::new(self.sda.reborrow());
        for line in [&mut scl, &mut sda] {
            line.set_pull(Pull::Up);
            line.set_low(); // what it drives when it is an output; as an input it is let go
            line.set_as_input();
        }
        Timer::after(HALF_CLOCK).await;
        for _ in 0..9 {
            if sda.is_high() {
                break;
            }
            scl.set_as_output();
            Timer::after(HALF_CLOCK).await;
            scl.set_as_input();
            Timer::after(HALF_CLOCK).await;
        }
        // Stop: SDA rises while SCL is high.
        sda.set_as_output();
        Timer::after(HALF_CLOCK).await;
        sda.set_as_input();
        Timer::after(HALF_CLOCK).await;
    }
}
