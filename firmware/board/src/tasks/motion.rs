//! Polls the motion chip. Never waits for anything but its bus.
//!
//! Any failed transfer counts as a fault: the bus is cleared and opened anew, and the chip is asked whether it still runs
//! as set up. If so, its buffer has bridged the gap; if not (it lost power), it is set up again.

use crate::Irqs;
use crate::bus::{Bus, limited};
use crate::idle::metered;
use crate::shared::{Shared, Worker, now_us};
use embassy_rp::i2c::{Async, I2c};
use embassy_rp::peripherals::{I2C0, PIN_4, PIN_5};
use embassy_time::{Duration, Instant, Timer};
use steadypass_drivers::lsm6dsox::{
    ADDRESS, AccelRange, Error, Lsm6dsox, Rate, SETTLING_MS, Setup, Source, WORD_BYTES,
};
use steadypass_firmware_core::design::{POLL_US, poll_time_us};
use steadypass_firmware_core::motion::{Restart, Sample, Stream};

/// The motion chip's bus.
pub type ImuBus = Bus<I2C0, PIN_5, PIN_4>;

/// Words of one burst: 5.5 ms at 400 kHz.
const BURST_WORDS: usize = 32;

/// Pause before the chip is tried again.
const RETRY: Duration = Duration::from_millis(50);

/// The chip cannot be used just now.
struct Fault;

/// What is known of the chip across faults.
struct Chip {
    setup: Setup,
    /// Whether it was started and nothing says that it stopped.
    running: bool,
    /// Why the next start happens.
    why: Restart,
}

/// See the module.
#[embassy_executor::task]
pub async fn motion(bus: ImuBus, shared: &'static Shared) -> ! {
    metered(run(bus, shared)).await
}

async fn run(mut bus: ImuBus, shared: &Shared) -> ! {
    let mut chip = Chip { setup: setup(shared), running: false, why: Restart::OnCommand };
    loop {
        let i2c = bus.open(Irqs).await;
        let Fault = serve(&mut Lsm6dsox::new(i2c, ADDRESS), &mut chip, shared).await;
        shared.with(|station| station.imu_fault());
        shared.alive(Worker::Motion);
        Timer::after(RETRY).await;
    }
}

fn setup(shared: &Shared) -> Setup {
    let range_g = shared.with(|station| station.settings().accel_range_g);
    let accel_range = AccelRange::from_g(range_g).unwrap_or(AccelRange::G16);
    Setup { accel_rate: Rate::Hz1667, accel_range, gyro_rate: Rate::Hz208 }
}

type Imu<'d> = Lsm6dsox<I2c<'d, I2C0, Async>>;

/// Runs the chip until it fails.
async fn serve(imu: &mut Imu<'_>, chip: &mut Chip, shared: &Shared) -> Fault {
    loop {
        if let Err(fault) = start(imu, chip, shared).await {
            return fault;
        }
        let mut k = poll_number() + 1;
        while !shared.with(|station| station.take_range_change()) {
            Timer::at(Instant::from_micros(poll_time_us(k))).await;
            shared.alive(Worker::Motion);
            if let Err(fault) = poll(imu, k, shared).await {
                return fault;
            }
            k = (k + 1).max(poll_number());
        }
        (chip.setup, chip.running, chip.why) = (setup(shared), false, Restart::OnCommand);
    }
}

/// Number of the poll that is due now or was last.
fn poll_number() -> u64 {
    now_us() / POLL_US
}

/// Makes the chip run, or finds that it still does.
async fn start(imu: &mut Imu<'_>, chip: &mut Chip, shared: &Shared) -> Result<(), Fault> {
    if chip.running {
        match limited(imu.check(chip.setup)).await {
            Ok(Ok(())) => {
                shared.with(|station| station.imu_back());
                return Ok(());
            }
            // It answers, but not as it was set up: it has lost power.
            Ok(Err(Error::NotTaken { .. })) => chip.running = false,
            _ => return Err(Fault),
        }
    }
    bounded(imu.set_up(chip.setup)).await?;
    Timer::after_millis(SETTLING_MS.into()).await;
    bounded(imu.start_fifo(chip.setup)).await?;
    shared.with(|station| station.imu_started(chip.why));
    (chip.running, chip.why) = (true, Restart::AfterFault);
    Ok(())
}

async fn poll(imu: &mut Imu<'_>, k: u64, shared: &Shared) -> Result<(), Fault> {
    let level = bounded(imu.fifo_level()).await?;
    // After the answer, not before: a stalled bus would make an earlier time stale.
    shared.with(|station| station.poll(now_us(), level.words, level.overrun));
    let mut left = usize::from(level.words);
    let mut buffer = [0; BURST_WORDS * WORD_BYTES];
    while left > 0 {
        let words = left.min(BURST_WORDS);
        left -= words;
        for word in bounded(imu.read_fifo(&mut buffer[..words * WORD_BYTES])).await? {
            let stream = match word.source {
                Source::Accel => Stream::Accel,
                Source::Gyro => Stream::Gyro,
                // Nothing else is batched: the answer was damaged, or the chip is not what it was.
                _ => return Err(Fault),
            };
            shared.with(|station| station.sample(Sample { stream, slot: word.slot, counts: word.data }));
        }
    }
    shared.with(|station| station.poll_done());
    if k.is_multiple_of(1_000_000 / POLL_US) {
        let celsius = bounded(imu.die_temperature()).await?.0;
        shared.with(|station| station.imu_temperature((celsius * 100.0) as i16));
    }
    Ok(())
}

/// A transfer within its time limit, or a fault.
async fn bounded<T, E>(transfer: impl Future<Output = Result<T, E>>) -> Result<T, Fault> {
    match limited(transfer).await {
        Ok(Ok(value)) => Ok(value),
        _ => Err(Fault),
    }
}
