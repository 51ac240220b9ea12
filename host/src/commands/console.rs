//! Where words go: results to stdout, everything else to stderr, progress only where somebody watches.

use std::{
    io::{self, IsTerminal, Write},
    path::PathBuf,
    sync::{Mutex, OnceLock, PoisonError},
    time::Duration,
};

use indicatif::{ProgressBar, ProgressStyle};
use steadypass::{guidance::Units, recording::describe_io, shop::Shop};

use crate::cli::Cli;

/// What is said while the screen is in use for something else; `None` when it is not.
static HELD: Mutex<Option<Vec<u8>>> = Mutex::new(None);

/// The error stream, or what holds its place. A closed stream is nobody's loss.
struct Aside;

impl Write for Aside {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match HELD.lock().unwrap_or_else(PoisonError::into_inner).as_mut() {
            Some(held) => held.extend_from_slice(bytes),
            None => {
                let _ = io::stderr().lock().write_all(bytes);
            }
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// While it lives, remarks wait; then they are said.
pub(crate) struct Hold(());

impl Drop for Hold {
    fn drop(&mut self) {
        let held = HELD.lock().unwrap_or_else(PoisonError::into_inner).take();
        let _ = io::stderr().lock().write_all(&held.unwrap_or_default());
    }
}

/// The two streams and what the user wants to see on them.
#[derive(Clone)]
pub(crate) struct Console {
    units: Option<Units>,
    shop: Option<PathBuf>,
    shop_units: OnceLock<Option<Units>>,
    pub(crate) json: bool,
    quiet: bool,
    verbose: bool,
}

impl Console {
    pub(crate) fn new(Cli { global, shop, .. }: &Cli) -> Self {
        let level = match (global.quiet, global.verbose) {
            (true, _) => "error",
            (_, 0) => "warn",
            (_, 1) => "info",
            _ => "debug",
        };
        // Only one verb runs in a process; a second call (in tests) keeps the first subscriber.
        let _ = tracing_subscriber::fmt()
            .with_env_filter(tracing_subscriber::EnvFilter::new(level))
            .with_writer(|| Aside)
            .with_ansi(io::stderr().is_terminal())
            .try_init();
        Self {
            units: global.units,
            shop: shop.clone(),
            shop_units: OnceLock::new(),
            json: global.json,
            quiet: global.quiet,
            verbose: global.verbose > 0,
        }
    }

    /// The user's units, else the shop's, else the plan's. What is wrong with a shop, the verb says that needs it.
    pub(crate) fn units(&self, plan: Units) -> Units {
        let of_shop = || *self.shop_units.get_or_init(|| Shop::open(self.shop.as_deref()?).ok()?.units().ok()?);
        self.units.or_else(of_shop).unwrap_or(plan)
    }

    /// A line of results.
    ///
    /// Into a stream that was closed before the program began (`>&-`) it goes unsaid: the standard library opens `/dev/null` in its
    /// place before `main`, and that looks like one that the user asked for.
    pub(crate) fn result(&self, line: &str) -> io::Result<()> {
        let mut out = io::stdout().lock();
        writeln!(out, "{line}").and_then(|()| out.flush()).map_err(|e| {
            io::Error::new(e.kind(), format!("cannot write the result to standard output: {}", describe_io(&e)))
        })
    }

    /// A result in words, or where the user asked for JSON the same as that.
    pub(crate) fn told(&self, words: &str, json: &serde_json::Value) -> io::Result<()> {
        if self.json { self.result(&json.to_string()) } else { self.result(words) }
    }

    /// A remark, unless the user wants quiet. A closed stderr is nobody's loss.
    pub(crate) fn remark(&self, line: &str) {
        if !self.quiet {
            let _ = writeln!(Aside, "{line}");
        }
    }

    /// Lets remarks wait while the screen shows something else.
    pub(crate) fn hold(&self) -> Hold {
        HELD.lock().unwrap_or_else(PoisonError::into_inner).get_or_insert_default();
        Hold(())
    }

    /// Whether the user wants quiet.
    pub(crate) fn is_quiet(&self) -> bool {
        self.quiet
    }

    /// A remark for those who asked for more.
    pub(crate) fn detail(&self, line: &str) {
        if self.verbose {
            self.remark(line);
        }
    }

    /// Something the user must know even when quiet.
    pub(crate) fn error(&self, message: &str) {
        let _ = writeln!(io::stderr().lock(), "steadypass: {message}");
    }

    /// What the program says when it is ended in the middle of something: over whatever line is being redrawn.
    pub(crate) fn last_words(&self, message: &str) {
        StatusLine { on: true, drawn: io::stderr().is_terminal() }.clear();
        self.error(message);
    }

    /// A failure with its context.
    pub(crate) fn report(&self, report: &miette::Report) {
        if report.source_code().is_some() {
            let _ = writeln!(io::stderr().lock(), "{report:?}");
        } else {
            self.error(&report.to_string());
            if let Some(help) = report.help() {
                let _ = writeln!(io::stderr().lock(), "  {help}");
            }
        }
    }

    /// A progress bar over bytes; draws nothing when nobody watches.
    pub(crate) fn progress(&self, what: &str, bytes: u64) -> ProgressBar {
        if self.quiet {
            return ProgressBar::hidden();
        }
        let style =
            ProgressStyle::with_template("{msg} [{bar:30}] {percent:>3} %  {eta} left").expect("a valid template");
        let bar = ProgressBar::new(bytes).with_style(style.progress_chars("=> ")).with_message(what.to_owned());
        bar.enable_steady_tick(Duration::from_millis(250));
        bar
    }

    /// A status line that is redrawn in place, where there is a terminal.
    pub(crate) fn status(&self) -> StatusLine {
        StatusLine { on: !self.quiet && io::stderr().is_terminal(), drawn: false }
    }
}

/// See [`Console::status`].
pub(crate) struct StatusLine {
    on: bool,
    drawn: bool,
}

impl StatusLine {
    /// Draws nothing from now on.
    pub(crate) fn off(&mut self) {
        self.clear();
        self.on = false;
    }

    /// Whether drawing it does anything.
    pub(crate) fn is_on(&self) -> bool {
        self.on
    }

    /// Redraws it.
    pub(crate) fn draw(&mut self, text: &str) {
        if self.on {
            // Carriage return, text, erase to end of line (ECMA-48 EL).
            let _ = write!(io::stderr().lock(), "\r{text}\x1b[K");
            self.drawn = true;
        }
    }

    /// Clears it, so that a whole line can be written in its place.
    pub(crate) fn clear(&mut self) {
        if std::mem::take(&mut self.drawn) {
            let _ = write!(io::stderr().lock(), "\r\x1b[K");
        }
    }
}
