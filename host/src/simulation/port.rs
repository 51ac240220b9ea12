//! The virtual sensor on a pseudo-terminal, so that a host opens it like any serial port.
//!
//! A thread plays the sensor at the clock's pace (or a multiple of it): what the host writes is fed to it, what it has to
//! say is written as far as the terminal takes it, and never waited for. The port has a path of its own, a link to the
//! terminal: unplugging closes the terminal and takes the link away, replugging makes a new one behind the same path.

use std::fs::File;
use std::io::{ErrorKind, Read, Write};
use std::os::fd::{AsFd, OwnedFd};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use nix::fcntl::{FcntlArg, OFlag, fcntl};
use nix::pty::openpty;
use nix::sys::termios::{SetArg, cfmakeraw, tcgetattr, tcsetattr};
use nix::unistd::ttyname;
use steadypass_protocol::ResetCause;

use super::device::{Trouble, VirtualSensor};

/// Why a virtual port could not be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PortError {
    /// The system gave no pseudo-terminal.
    #[error("could not {what} a pseudo-terminal")]
    Terminal {
        /// What was tried.
        what: &'static str,
        /// The system's answer.
        source: nix::Error,
    },
    /// The link to it could not be made.
    #[error("could not make the link {path} to the pseudo-terminal; is something else of that name there?")]
    Link {
        /// Where it should be.
        path: PathBuf,
        /// The system's answer.
        source: std::io::Error,
    },
    /// The thread could not be started.
    #[error("could not start the virtual sensor's thread")]
    Thread(#[source] std::io::Error),
}

/// Time between two rounds of the thread: well below a block's 43 ms, and a ping is answered within it.
const ROUND: Duration = Duration::from_millis(2);

/// On a machine too busy to run the thread for longer than this, the sensor's clock loses the rest instead of jumping.
const LONGEST_ROUND: Duration = Duration::from_millis(100);

/// Sensor time between two exchanges with the terminal, µs: far less than the sensor can hold.
const SLICE_US: f64 = 20_000.0;

/// A virtual sensor that is being played on a pseudo-terminal.
#[derive(Debug)]
pub struct VirtualPort {
    path: PathBuf,
    speed: f64,
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

#[derive(Debug)]
struct Shared {
    state: Mutex<State>,
    end: AtomicBool,
}

#[derive(Debug)]
struct State {
    sensor: VirtualSensor,
    terminal: Option<Terminal>,
}

#[derive(Debug)]
struct Terminal {
    sensor_side: File,
    /// Held open so that the sensor's side does not report a hang-up between two clients.
    _host_side: OwnedFd,
}

impl VirtualPort {
    /// Plays `sensor` behind the link `path`, `speed` times as fast as the clock (1 is real time).
    ///
    /// A link that is there already is replaced; anything else of that name is left alone and is an error.
    ///
    /// At real time the sensor drops what the host does not read, as on a machine. At other speeds the play waits for a host
    /// that is slow to read, for a moment of the host's is then a long time of the sensor's. The sensor's clock runs that
    /// much faster than the host's; its [`silence_us`](super::SensorOptions::silence_us) should be longer in proportion.
    ///
    /// # Errors
    /// [`PortError`], when the system gives no terminal, link or thread.
    pub fn open(sensor: VirtualSensor, path: impl Into<PathBuf>, speed: f64) -> Result<Self, PortError> {
        let path = path.into();
        let terminal = Some(plug(&path)?);
        let shared = Arc::new(Shared { state: Mutex::new(State { sensor, terminal }), end: AtomicBool::new(false) });
        let worker = Arc::clone(&shared);
        let thread = std::thread::Builder::new()
            .name("virtual sensor".into())
            .spawn(move || run(&worker, speed))
            .map_err(PortError::Thread)?;
        Ok(Self { path, speed, shared, thread: Some(thread) })
    }

    /// Path that the host opens.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// How many times faster than the clock it plays.
    pub fn speed(&self) -> f64 {
        self.speed
    }

    /// Does something with the sensor, between two rounds.
    pub fn with<T>(&self, f: impl FnOnce(&mut VirtualSensor) -> T) -> T {
        f(&mut self.state().sensor)
    }

    /// Pulls the plug: the host sees a hang-up, the path is gone.
    pub fn unplug(&self) {
        if self.state().terminal.take().is_some() {
            remove_link(&self.path);
        }
    }

    /// Plugs it in again, behind the same path. `powered` says whether the sensor kept its power; if not, it starts anew.
    ///
    /// # Errors
    /// As [`VirtualPort::open`].
    pub fn replug(&self, powered: bool) -> Result<(), PortError> {
        let mut state = self.state();
        if !powered {
            state.sensor.suffer(Trouble::Restart(ResetCause::PowerOn));
        }
        state.terminal = Some(plug(&self.path)?);
        Ok(())
    }

    /// Ends the play and gives the sensor back.
    pub fn finish(mut self) -> VirtualSensor {
        self.end();
        // A clone, for a port cannot be taken apart: it still has to clean up.
        self.state().sensor.clone()
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.shared.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn end(&mut self) {
        self.shared.end.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            // A panic in the thread has been reported by the thread; there is nothing left to do here.
            let _ = thread.join();
        }
        self.unplug();
    }
}

impl Drop for VirtualPort {
    fn drop(&mut self) {
        self.end();
    }
}

fn run(shared: &Shared, speed: f64) {
    let mut last = Instant::now();
    let mut buffer = [0; 4096];
    // A fraction of a microsecond is kept for the next round.
    let mut due_us = 0.0;
    while !shared.end.load(Ordering::Relaxed) {
        let passed = last.elapsed();
        last += passed;
        due_us += passed.min(LONGEST_ROUND).as_secs_f64() * speed * 1e6;
        {
            let mut state = shared.state.lock().unwrap_or_else(PoisonError::into_inner);
            let State { sensor, terminal } = &mut *state;
            let mut serve = |sensor: &mut VirtualSensor| match terminal {
                Some(terminal) => exchange(sensor, &terminal.sensor_side, &mut buffer),
                // A pulled plug takes whatever comes.
                None => sensor.discard(),
            };
            serve(sensor);
            while due_us >= 1.0 {
                if speed != 1.0 && !sensor.output().is_empty() {
                    due_us = 0.0;
                    break;
                }
                let step_us = due_us.min(SLICE_US).floor();
                due_us -= step_us;
                sensor.advance(sensor.now_us() + step_us as u64);
                serve(sensor);
            }
        }
        std::thread::sleep(ROUND);
    }
}

fn exchange(sensor: &mut VirtualSensor, mut side: &File, buffer: &mut [u8]) {
    // Reads at most what a host could have written in a round, so that a flood cannot hold the sensor up.
    for _ in 0..4 {
        match side.read(buffer) {
            Ok(count @ 1..) => sensor.feed(&buffer[..count]),
            Ok(0) => break,
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            // Nothing to read, or the host has just hung up.
            Err(_) => break,
        }
    }
    while !sensor.output().is_empty() {
        match side.write(sensor.output()) {
            Ok(count @ 1..) => sensor.consume(count),
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            // The terminal is full: the rest waits in the sensor's queue, and what does not fit there is dropped whole.
            Ok(0) | Err(_) => break,
        }
    }
}

fn plug(path: &Path) -> Result<Terminal, PortError> {
    let fault = |what| move |source| PortError::Terminal { what, source };
    let pair = openpty(None, None).map_err(fault("open"))?;
    let mut settings = tcgetattr(&pair.slave).map_err(fault("read the settings of"))?;
    cfmakeraw(&mut settings);
    tcsetattr(&pair.slave, SetArg::TCSANOW, &settings).map_err(fault("set up"))?;
    let name = ttyname(pair.slave.as_fd()).map_err(fault("name"))?;
    fcntl(pair.master.as_fd(), FcntlArg::F_SETFL(OFlag::O_RDWR | OFlag::O_NONBLOCK)).map_err(fault("set up"))?;
    remove_link(path);
    std::os::unix::fs::symlink(&name, path).map_err(|source| PortError::Link { path: path.into(), source })?;
    Ok(Terminal { sensor_side: File::from(pair.master), _host_side: pair.slave })
}

/// Removes the link at `path`, and nothing else that might be there.
fn remove_link(path: &Path) {
    if path.is_symlink() {
        // If it cannot be removed, making the new one says why.
        let _ = std::fs::remove_file(path);
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;
    use std::time::{Duration, Instant};

    use steadypass_protocol::{FrameReader, MAX_FRAME, Ping, ToHost, ToSensor, encode};
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    use tokio::time::timeout;
    use tokio_serial::{SerialPortBuilderExt, SerialStream};

    // Not `super::*`: its blocking `Read` and `Write` would compete with tokio's.
    use super::super::{Scenario, SensorOptions, VirtualSensor};
    use super::VirtualPort;

    fn virtual_port(path: &Path) -> VirtualPort {
        let sensor = VirtualSensor::new(&Scenario::default(), SensorOptions::default()).unwrap();
        VirtualPort::open(sensor, path, 1.0).unwrap()
    }

    fn open(path: &Path) -> SerialStream {
        tokio_serial::new(path.to_str().unwrap(), 921_600).open_native_async().unwrap()
    }

    async fn tell(port: &mut SerialStream, command: ToSensor) {
        port.write_all(encode(&command, &mut [0; MAX_FRAME]).unwrap()).await.unwrap();
    }

    /// Reads for at most `limit`, until `enough` says so or the port hangs up; counts hellos, accel blocks and errors.
    async fn read(port: &mut SerialStream, limit: Duration, enough: impl Fn(&[u32; 3]) -> bool) -> ([u32; 3], bool) {
        let (mut reader, mut counts, begin) = (FrameReader::<MAX_FRAME>::new(), [0; 3], Instant::now());
        let mut buffer = [0; 1024];
        while begin.elapsed() < limit && !enough(&counts) {
            match timeout(limit.saturating_sub(begin.elapsed()), port.read(&mut buffer)).await {
                Ok(Ok(0) | Err(_)) => return (counts, true),
                Ok(Ok(count)) => reader.feed(&buffer[..count], |event| {
                    match event.map(|frame| ToHost::decode(frame.payload).is_ok_and(|m| matches!(m, ToHost::Hello(_))))
                    {
                        Ok(true) => counts[0] += 1,
                        Ok(false) => counts[1] += 1,
                        Err(_) => counts[2] += 1,
                    }
                }),
                Err(_) => break,
            }
        }
        (counts, false)
    }

    #[tokio::test]
    async fn a_host_opens_it_like_a_serial_port_and_survives_a_pulled_plug() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("sensor");
        let play = virtual_port(&path);
        let mut port = open(play.path());
        tell(&mut port, ToSensor::Identify).await;
        tell(&mut port, ToSensor::Start).await;
        let (counts, _) = read(&mut port, Duration::from_secs(10), |c| c[1] > 40).await;
        assert!(counts[0] == 1 && counts[1] > 40 && counts[2] == 0, "{counts:?}");

        play.unplug();
        assert!(!path.exists());
        let (_, hung_up) = read(&mut port, Duration::from_secs(5), |_| false).await;
        assert!(hung_up, "the host must notice");
        drop(port);

        play.replug(false).unwrap();
        let mut port = open(&path);
        let (counts, _) = read(&mut port, Duration::from_secs(5), |c| c[0] > 0).await;
        assert_eq!(counts[0], 1, "it introduces itself after losing its power");
        assert!(!play.with(|sensor| sensor.is_streaming()));
        tell(&mut port, ToSensor::Ping(Ping { token: 1, host_us: 2 })).await;
        let (counts, _) = read(&mut port, Duration::from_secs(5), |c| c[1] > 0).await;
        assert_eq!(counts[1], 1);
        let sensor = play.finish();
        assert!(!path.exists());
        assert!(sensor.truth().moments.len() > 5);
    }

    #[tokio::test]
    async fn a_host_that_does_not_read_does_not_hold_the_sensor_up() {
        let folder = tempfile::tempdir().unwrap();
        let play = virtual_port(&folder.path().join("sensor"));
        let mut port = open(play.path());
        tell(&mut port, ToSensor::Start).await;
        let begin = Instant::now();
        while play.with(|sensor| sensor.health().frames_dropped) == 0 {
            assert!(begin.elapsed() < Duration::from_secs(20), "the terminal's buffer must fill up some time");
            tell(&mut port, ToSensor::Ping(Ping { token: 0, host_us: 0 })).await;
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
        let (counts, _) = read(&mut port, Duration::from_secs(2), |c| c[1] > 30).await;
        assert!(counts[1] > 30 && counts[2] == 0, "whole frames only: {counts:?}");
    }

    #[tokio::test]
    async fn played_fast_it_waits_for_a_host_that_dozes() {
        let folder = tempfile::tempdir().unwrap();
        let options = SensorOptions { silence_us: 3_600_000_000, ..SensorOptions::default() };
        let sensor = VirtualSensor::new(&Scenario::default(), options).unwrap();
        let play = VirtualPort::open(sensor, folder.path().join("sensor"), 20.0).unwrap();
        let mut port = open(play.path());
        tell(&mut port, ToSensor::Start).await;
        tokio::time::sleep(Duration::from_millis(1500)).await;
        let asleep_us = play.with(|sensor| sensor.now_us());
        let (counts, _) = read(&mut port, Duration::from_millis(1500), |_| false).await;
        let (awake_us, dropped) = play.with(|sensor| (sensor.now_us(), sensor.health().frames_dropped));
        assert_eq!((dropped, counts[2]), (0, 0));
        // A terminal holds some seconds of the stream; 30 s would have passed.
        assert!(asleep_us < 20_000_000, "{asleep_us}");
        assert!(awake_us > asleep_us + 5_000_000, "{awake_us}");
    }

    #[test]
    fn it_leaves_alone_what_is_not_its_own() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("notes.txt");
        std::fs::write(&path, "keep me").unwrap();
        let sensor = VirtualSensor::new(&Scenario::default(), SensorOptions::default()).unwrap();
        let error = VirtualPort::open(sensor, &path, 1.0).unwrap_err();
        assert!(error.to_string().contains("notes.txt"), "{error}");
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "keep me");
    }
}
