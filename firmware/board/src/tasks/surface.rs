//! Looks at the panel with the thermometer at the pace that the host set.

use crate::Irqs;
use crate::bus::{Bus, limited};
use crate::idle::metered;
use crate::shared::{Shared, Worker, now_us};
use embassy_rp::i2c::{Async, I2c};
use embassy_rp::peripherals::{I2C1, PIN_6, PIN_7};
use embassy_time::{Instant, Timer};
use steadypass_drivers::mlx90614::{ADDRESS, Error, Mlx90614, TemperatureWord};
use steadypass_firmware_core::station::{IrFault, IrWords};

/// The thermometer's bus.
pub type IrBus = Bus<I2C1, PIN_7, PIN_6>;

type Thermometer<'d> = Mlx90614<I2c<'d, I2C1, Async>>;

/// See the module.
#[embassy_executor::task]
pub async fn surface(bus: IrBus, shared: &'static Shared) -> ! {
    metered(run(bus, shared)).await
}

async fn run(mut bus: IrBus, shared: &Shared) -> ! {
    let mut next_us = now_us();
    loop {
        let mut thermometer = Mlx90614::new(bus.open(Irqs).await, ADDRESS);
        // A chip that does not answer may hold the bus: leave the inner loop to open it anew.
        let mut answers = true;
        while answers {
            Timer::at(Instant::from_micros(next_us)).await;
            shared.alive(Worker::Surface);
            let result = look(&mut thermometer).await;
            answers = result != Err(IrFault::NoAnswer);
            let period_us = shared.with(|station| {
                station.looked(now_us(), result);
                u64::from(station.settings().surface_period_ms) * 1000
            });
            next_us = (next_us + period_us).max(now_us());
        }
    }
}

async fn look(thermometer: &mut Thermometer<'_>) -> Result<IrWords, IrFault> {
    let object = bounded(thermometer.object()).await?;
    let ambient = bounded(thermometer.ambient()).await?;
    Ok((object.counts(), ambient.counts()))
}

async fn bounded<E>(word: impl Future<Output = Result<TemperatureWord, Error<E>>>) -> Result<TemperatureWord, IrFault> {
    match limited(word).await {
        Ok(Ok(word)) => Ok(word),
        Ok(Err(Error::Checksum { .. })) => Err(IrFault::BadChecksum),
        Ok(Err(Error::Flagged { .. })) => Err(IrFault::ChipError),
        _ => Err(IrFault::NoAnswer),
    }
}
