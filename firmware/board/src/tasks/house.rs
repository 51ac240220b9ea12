//! Housekeeping: time for the station, food for the watchdog, restarts on command.

use crate::idle::{IdleShare, metered};
use crate::shared::{Shared, now_us};
use embassy_rp::watchdog::{ResetReason, Watchdog};
use embassy_time::{Duration, Ticker};
use steadypass_protocol::{ResetCause, RestartInto};

/// The watchdog bites when it was not fed for this long.
const WATCHDOG: Duration = Duration::from_millis(1000);

/// A worker that was quiet for longer is stuck: the slowest, the thermometer, may pause for a second by its settings.
const WORKER_LIMIT_US: u64 = 3_000_000;

/// Marks the watchdog's scratch registers as ours; they keep their content over every reset but power-on.
const SCRATCH_MARK: u32 = 0x5A1E_0001;

/// In a scratch register from when the watchdog is armed until the loader is asked for. The loader restarts the chip through the
/// watchdog, too, when a new firmware has been copied: only a bite at this mark found our firmware stuck. The loader itself
/// uses registers 4 to 7 (from memory).
const ARMED_MARK: u32 = 0x5A1E_A12D;
const ARMED: usize = 2;

/// Why the sensor started, and how often the watchdog bit since power came on.
pub fn reset_history(watchdog: &mut Watchdog) -> (ResetCause, u16) {
    let cause = match watchdog.reset_reason() {
        None => ResetCause::PowerOn,
        Some(ResetReason::TimedOut) if watchdog.get_scratch(ARMED) == ARMED_MARK => ResetCause::Watchdog,
        Some(ResetReason::TimedOut | ResetReason::Forced) => ResetCause::Commanded,
    };
    watchdog.set_scratch(ARMED, 0);
    let before = if watchdog.get_scratch(0) == SCRATCH_MARK { watchdog.get_scratch(1) } else { 0 };
    let bites = before.saturating_add(u32::from(cause == ResetCause::Watchdog));
    watchdog.set_scratch(0, SCRATCH_MARK);
    watchdog.set_scratch(1, bites);
    (cause, bites.try_into().unwrap_or(u16::MAX))
}

/// See the module.
#[embassy_executor::task]
pub async fn house(watchdog: Watchdog, shared: &'static Shared) -> ! {
    metered(run(watchdog, shared)).await
}

async fn run(mut watchdog: Watchdog, shared: &Shared) -> ! {
    let mut idle = IdleShare::default();
    let mut ticker = Ticker::every(Duration::from_millis(50));
    watchdog.pause_on_debug(true);
    watchdog.start(WATCHDOG);
    watchdog.set_scratch(ARMED, ARMED_MARK);
    loop {
        ticker.next().await;
        let idle_permille = idle.permille();
        let restart = shared.with(|station| {
            station.tick(now_us(), idle_permille);
            station.due_restart(now_us())
        });
        match restart {
            Some(RestartInto::Firmware) => watchdog.trigger_reset(),
            Some(RestartInto::Loader) => {
                watchdog.set_scratch(ARMED, 0);
                embassy_rp::rom_data::reset_to_usb_boot(0, 0);
            }
            None => {}
        }
        if shared.longest_quiet_us() < WORKER_LIMIT_US {
            watchdog.feed(WATCHDOG);
        }
    }
}
