//! What the tasks share: the station and signs of life.
//!
//! All tasks run in thread mode on one executor, so the station is locked without switching interrupts off; nobody holds
//! it across an await.

use core::cell::{Cell, RefCell};
use embassy_sync::blocking_mutex::{Mutex, raw::ThreadModeRawMutex};
use embassy_sync::signal::Signal;
use embassy_time::Instant;
use steadypass_firmware_core::station::{Link, Station};
use steadypass_protocol::{FrameReader, MAX_FRAME};

/// Tasks that must keep running for the watchdog to be fed.
#[derive(Clone, Copy)]
pub enum Worker {
    /// Polls the motion chip.
    Motion,
    /// Looks with the thermometer.
    Surface,
}

struct Inner {
    station: RefCell<Station>,
    seen_us: [Cell<u64>; 2],
}

/// See the module.
pub struct Shared {
    inner: Mutex<ThreadModeRawMutex, Inner>,
    usb_work: Signal<ThreadModeRawMutex, ()>,
    uart_work: Signal<ThreadModeRawMutex, ()>,
}

/// Time since start, µs.
pub fn now_us() -> u64 {
    Instant::now().as_micros()
}

impl Shared {
    /// Takes the station.
    pub fn new(station: Station) -> Self {
        let inner = Inner { station: RefCell::new(station), seen_us: [Cell::new(now_us()), Cell::new(now_us())] };
        Self { inner: Mutex::new(inner), usb_work: Signal::new(), uart_work: Signal::new() }
    }

    /// Does something with the station, and wakes the sender if there is something to send now.
    pub fn with<R>(&self, f: impl FnOnce(&mut Station) -> R) -> R {
        let (result, waiting, link) = self.inner.lock(|inner| {
            let mut station = inner.station.borrow_mut();
            let result = f(&mut station);
            (result, station.has_frames(), station.link())
        });
        if waiting {
            self.work(link).signal(());
        }
        result
    }

    /// Bytes came from the host over `link`.
    pub fn received(&self, link: Link, reader: &mut FrameReader, bytes: &[u8]) {
        let now = now_us();
        reader.feed(bytes, |event| self.with(|station| station.received(link, event, now)));
    }

    /// A host has opened `link`.
    pub fn opened(&self, link: Link) {
        self.with(|station| station.opened(link, now_us()));
    }

    /// The next frame for `link`, if it is the one in use.
    pub fn next_frame<'b>(&self, link: Link, into: &'b mut [u8; MAX_FRAME]) -> Option<&'b [u8]> {
        self.inner.lock(|inner| inner.station.borrow_mut().next_frame(link, into))
    }

    /// Waits until there may be a frame for `link`.
    pub async fn wait(&self, link: Link) {
        self.work(link).wait().await;
    }

    /// `worker` is alive.
    pub fn alive(&self, worker: Worker) {
        self.inner.lock(|inner| inner.seen_us[worker as usize].set(now_us()));
    }

    /// Longest time since a worker was alive, µs.
    pub fn longest_quiet_us(&self) -> u64 {
        let now = now_us();
        self.inner.lock(|inner| inner.seen_us.iter().map(|at| now.saturating_sub(at.get())).max().unwrap_or(0))
    }

    fn work(&self, link: Link) -> &Signal<ThreadModeRawMutex, ()> {
        match link {
            Link::Usb => &self.usb_work,
            Link::Uart => &self.uart_work,
        }
    }
}
