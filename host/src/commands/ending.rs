//! What ends the program from outside: signals, or on Windows what happens to its console.

use std::{io, path::Path, thread, time::Duration};

use steadypass::unfinished::{Discarded, discard_all};
use tokio::sync::oneshot;

use super::Console;

/// Why the program is to end.
#[derive(Clone, Copy)]
pub(super) struct Ending {
    /// In words, as a recording keeps it.
    pub(super) why: &'static str,
    /// The signal, or on Windows the exit code.
    by: i32,
}

/// Who ends a program may send the signal to it and to its group, as `timeout` does: what comes twice within this time is meant once.
const TWICE: Duration = Duration::from_millis(200);

const STOPPED: &str = "stopped";
const BY_SYSTEM: &str = "the system ended it";
const CLOSED: &str = "the terminal was closed";

/// Each of these listens from the call on, and needs a runtime around it.
#[cfg(unix)]
mod system {
    use std::{fs, future::pending, process};

    use signal_hook::low_level::emulate_default_handler;
    use tokio::signal::unix::{SignalKind, signal};

    use super::{BY_SYSTEM, CLOSED, Ending, STOPPED, io};

    /// Ends the program by the signal itself: a shell that sees a program exit goes on with its loop.
    pub(super) fn end(by: i32) -> ! {
        let _ = emulate_default_handler(by);
        process::exit(128 + by)
    }

    /// What a signal of this kind makes of the program: nothing, where whoever started it has it ignored.
    fn on(kind: SignalKind, why: &'static str) -> io::Result<impl Future<Output = Ending>> {
        let mut heard = if is_ignored(kind) { None } else { Some(signal(kind)?) };
        Ok(async move {
            match &mut heard {
                Some(heard) => heard.recv().await,
                None => pending().await,
            };
            Ending { why, by: kind.as_raw_value() }
        })
    }

    /// Whether a signal is ignored: a script has Ctrl-C ignored for what it starts with `&`, `nohup` a closed terminal. Listening to
    /// it would undo that. Only Linux tells it in a file; elsewhere all are listened to.
    fn is_ignored(kind: SignalKind) -> bool {
        let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
        // A bit for each signal, from the lowest on: proc_pid_status(5).
        let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
        let mask = mask.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok()).unwrap_or(0);
        mask >> (kind.as_raw_value() - 1) & 1 == 1
    }

    /// Ctrl-C.
    pub(super) fn interrupted() -> io::Result<impl Future<Output = Ending>> {
        on(SignalKind::interrupt(), STOPPED)
    }

    /// The system ends us.
    pub(super) fn ended() -> io::Result<impl Future<Output = Ending>> {
        on(SignalKind::terminate(), BY_SYSTEM)
    }

    /// The terminal is closed.
    pub(super) fn closed() -> io::Result<impl Future<Output = Ending>> {
        on(SignalKind::hangup(), CLOSED)
    }
}

/// Each of these listens from the call on, and needs a runtime around it.
#[cfg(windows)]
mod system {
    use std::process;

    use tokio::signal::windows::{ctrl_c, ctrl_close, ctrl_shutdown};

    use super::{BY_SYSTEM, CLOSED, Ending, STOPPED, io};

    /// Ends the program.
    pub(super) fn end(by: i32) -> ! {
        process::exit(by)
    }

    /// `STATUS_CONTROL_C_EXIT`, as the system counts programs that one of these ended.
    const EXIT_CODE: i32 = 0xC000_013A_u32.cast_signed();

    /// Ctrl-C.
    pub(super) fn interrupted() -> io::Result<impl Future<Output = Ending>> {
        let mut heard = ctrl_c()?;
        Ok(async move {
            heard.recv().await;
            Ending { why: STOPPED, by: EXIT_CODE }
        })
    }

    /// The system ends us.
    pub(super) fn ended() -> io::Result<impl Future<Output = Ending>> {
        let mut heard = ctrl_shutdown()?;
        Ok(async move {
            heard.recv().await;
            Ending { why: BY_SYSTEM, by: EXIT_CODE }
        })
    }

    /// The terminal is closed.
    pub(super) fn closed() -> io::Result<impl Future<Output = Ending>> {
        let mut heard = ctrl_close()?;
        Ok(async move {
            heard.recv().await;
            Ending { why: CLOSED, by: EXIT_CODE }
        })
    }
}

/// What leaves no time: the system ends us, or the terminal is closed. Listens from the call on, and needs a runtime around it.
pub(super) fn hurried() -> io::Result<impl Future<Output = Ending>> {
    Ok(first(system::ended()?, system::closed()?))
}

/// Whichever comes first.
async fn first(one: impl Future<Output = Ending>, other: impl Future<Output = Ending>) -> Ending {
    tokio::select! {
        ending = one => ending,
        ending = other => ending,
    }
}

/// While this lives, Ctrl-C and the like end the program at once, and nothing unfinished is left. Results are written beside their
/// place first, or in one transaction, so that the end may come at any moment. A second Ctrl-C does not wait for the last words, which
/// a terminal may hold up.
pub(super) struct Interruptible {
    /// Told, by being dropped, that nobody needs to listen any more.
    _done: oneshot::Sender<()>,
}

impl Interruptible {
    /// For a verb that does not record. A closed terminal ends it as the system does: whoever wants a verb to outlive its terminal
    /// has that signal ignored, and listening to it would undo that where the system does not tell.
    pub(super) fn in_verb(console: &Console, verb: &str) -> io::Result<Self> {
        let verb = verb.to_owned();
        let said = move |discarded| format!("{verb} stopped{}", became(&discarded));
        Self::start(console, said, || Ok(first(system::interrupted()?, system::ended()?)))
    }

    /// For what comes after a recording. That listens to a closed terminal, too, and the listener it leaves behind keeps the system
    /// from doing anything: without somebody who goes on listening it would be swallowed.
    ///
    /// * `then`: the command that makes the rest of it.
    pub(super) fn after_recording(console: &Console, recording: &Path, then: &str) -> io::Result<Self> {
        let said = format!("stopped; {} is whole, `{then}` makes the rest of it", recording.display());
        Self::start(console, |_| said, || Ok(first(system::interrupted()?, hurried()?)))
    }

    /// * `said`: what is said in the end, told what became of what was unfinished.
    /// * `listen`: begins to listen; called again for a second time.
    fn start<F: Future<Output = Ending> + Send + 'static>(
        console: &Console,
        said: impl FnOnce(Discarded) -> String + Send + 'static,
        listen: impl Fn() -> io::Result<F> + Send + 'static,
    ) -> io::Result<Self> {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_io().build()?;
        let ending = {
            let _inside = runtime.enter();
            listen()?
        };
        let (_done, done) = oneshot::channel::<()>();
        let console = console.clone();
        thread::Builder::new().name("interrupt".into()).spawn(move || {
            let ending = runtime.block_on(async {
                tokio::select! {
                    ending = ending => Some(ending),
                    _ = done => None,
                }
            });
            if let Some(ending) = ending {
                // Without that thread a second one is lost, and nothing else.
                let _ = thread::Builder::new().name("interrupt again".into()).spawn(move || {
                    thread::sleep(TWICE);
                    if let Ok(again) = runtime.block_on(async { io::Result::Ok(listen()?.await) }) {
                        system::end(again.by);
                    }
                });
                console.last_words(&said(discard_all()));
                system::end(ending.by);
            }
        })?;
        Ok(Self { _done })
    }
}

/// What became of what was unfinished, as the end of a sentence.
fn became(discarded: &Discarded) -> String {
    match discarded {
        Discarded::Nothing => String::new(),
        Discarded::All => "; nothing half-written is left".to_owned(),
        Discarded::Left(folders) => {
            let folders: Vec<_> = folders.iter().map(|folder| folder.display().to_string()).collect();
            format!("; what is half-written is left in {} and may be removed", folders.join(", "))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_would_not_go_is_named() {
        assert_eq!(became(&Discarded::Nothing), "");
        assert_eq!(became(&Discarded::All), "; nothing half-written is left");
        let left = Discarded::Left(["a/.unfinished-x", "b/.unfinished-y"].map(Into::into).into());
        assert_eq!(
            became(&left),
            "; what is half-written is left in a/.unfinished-x, b/.unfinished-y and may be removed"
        );
    }
}
