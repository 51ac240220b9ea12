//! What ends the program from outside: signals, or on Windows what happens to its console.

use std::{io, path::Path, process, thread};

use tokio::sync::oneshot;

use super::Console;
pub(super) use system::hurried;

/// Why the program is to end.
#[derive(Clone, Copy)]
pub(super) struct Ending {
    /// In words, as a recording keeps it.
    pub(super) why: &'static str,
    /// As shells count a program that was ended so.
    exit_code: i32,
}

const STOPPED: &str = "stopped";
const BY_SYSTEM: &str = "the system ended it";
const CLOSED: &str = "the terminal was closed";

/// Each of these listens from the call on, and needs a runtime around it.
#[cfg(unix)]
mod system {
    use tokio::signal::unix::{SignalKind, signal};

    use super::{BY_SYSTEM, CLOSED, Ending, STOPPED, io};

    fn on(kind: SignalKind, why: &'static str) -> io::Result<impl Future<Output = Ending>> {
        let mut heard = signal(kind)?;
        Ok(async move {
            heard.recv().await;
            Ending { why, exit_code: 128 + kind.as_raw_value() }
        })
    }

    /// Ctrl-C.
    pub(super) fn interrupted() -> io::Result<impl Future<Output = Ending>> {
        on(SignalKind::interrupt(), STOPPED)
    }

    /// What leaves no time: the system ends us, or the terminal is closed.
    pub(in super::super) fn hurried() -> io::Result<impl Future<Output = Ending>> {
        let (ended, hung_up) = (on(SignalKind::terminate(), BY_SYSTEM)?, on(SignalKind::hangup(), CLOSED)?);
        Ok(async move {
            tokio::select! {
                ending = ended => ending,
                ending = hung_up => ending,
            }
        })
    }
}

/// Each of these listens from the call on, and needs a runtime around it.
#[cfg(windows)]
mod system {
    use tokio::signal::windows::{ctrl_c, ctrl_close, ctrl_shutdown};

    use super::{BY_SYSTEM, CLOSED, Ending, STOPPED, io};

    /// `STATUS_CONTROL_C_EXIT`, as the system counts programs that one of these ended.
    const EXIT_CODE: i32 = 0xC000_013A_u32.cast_signed();

    /// Ctrl-C.
    pub(super) fn interrupted() -> io::Result<impl Future<Output = Ending>> {
        let mut heard = ctrl_c()?;
        Ok(async move {
            heard.recv().await;
            Ending { why: STOPPED, exit_code: EXIT_CODE }
        })
    }

    /// What leaves no time: the system ends us, or the terminal is closed.
    pub(in super::super) fn hurried() -> io::Result<impl Future<Output = Ending>> {
        let (mut ended, mut closed) = (ctrl_shutdown()?, ctrl_close()?);
        Ok(async move {
            let why = tokio::select! {
                _ = ended.recv() => BY_SYSTEM,
                _ = closed.recv() => CLOSED,
            };
            Ending { why, exit_code: EXIT_CODE }
        })
    }
}

/// While this lives, Ctrl-C, the system and a closed terminal end the program at once, as they do when nothing was recorded.
///
/// A recording listens to all of these itself, and the listener it leaves behind keeps the system from doing anything: without
/// somebody who goes on listening they would be swallowed. What is written after a recording is written beside its place first,
/// or in one transaction, so that the end may come at any moment.
pub(super) struct Interruptible {
    /// Told, by being dropped, that nobody needs to listen any more.
    _done: oneshot::Sender<()>,
}

impl Interruptible {
    pub(super) fn start(console: &Console, recording: &Path) -> io::Result<Self> {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_io().build()?;
        let (interrupted, hurried) = {
            let _inside = runtime.enter();
            (system::interrupted()?, hurried()?)
        };
        let (_done, done) = oneshot::channel::<()>();
        let (console, recording) = (*console, recording.display().to_string());
        thread::Builder::new().name("interrupt".into()).spawn(move || {
            let ending = runtime.block_on(async {
                tokio::select! {
                    ending = interrupted => Some(ending),
                    ending = hurried => Some(ending),
                    _ = done => None,
                }
            });
            if let Some(ending) = ending {
                console.error(&format!("stopped; {recording} is whole, `steadypass review` makes the rest of it"));
                process::exit(ending.exit_code);
            }
        })?;
        Ok(Self { _done })
    }
}
