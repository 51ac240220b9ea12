//! The terminal view: a thin shell around [`draw`] and [`keys`].
//!
//! It is drawn on the error stream, so that results on the output stream can go elsewhere. When the terminal goes away (its
//! window was closed) writing to it fails; that ends the view and nothing else.

pub mod ascii;
pub mod draw;
pub mod keys;
#[cfg(test)]
mod tests;

use std::{
    io::{self, BufWriter, IsTerminal, Stderr, Write, stderr, stdin},
    sync::{
        Arc, Once,
        atomic::{AtomicBool, Ordering},
    },
    thread,
    time::Duration,
};

use ratatui::{
    Terminal,
    backend::CrosstermBackend,
    crossterm::{
        event::{self, Event},
        execute,
        terminal::{EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode},
    },
};
use tokio::{sync::mpsc, time::interval};

use super::board::Board;
use draw::{Look, Scene};
use keys::{Deed, Keys};

/// How often the screen is looked after when nothing new comes, so that old figures are seen to be old.
const IDLE: Duration = Duration::from_millis(250);
/// How often the keyboard's thread looks whether it shall end.
const KEY_WAIT: Duration = Duration::from_millis(100);

/// What the terminal view is told.
#[derive(Clone)]
pub struct Options {
    /// How to draw.
    pub look: Look,
    /// Sound is on; the key changes it.
    pub sound: Arc<AtomicBool>,
    /// Lines that show where the page is; asked anew each time, since a link serves once.
    pub page: Option<Card>,
    /// Show them first, until a key is pressed or the machine runs.
    pub card_first: bool,
}

/// Makes the lines that show where the page is.
pub type Card = Arc<dyn Fn() -> Vec<String> + Send + Sync>;

/// Whether there is a terminal to draw on and keys to press, and how it may be drawn on.
pub fn look() -> Option<Look> {
    let dumb = set("TERM").is_none_or(|term| term == "dumb");
    if !stdin().is_terminal() || !stderr().is_terminal() || dumb {
        return None;
    }
    // NO_COLOR: no-color.org, "when present and not an empty string".
    Some(Look { colour: set("NO_COLOR").is_none(), unicode: has_unicode() })
}

/// Whether a terminal here has letters beyond ASCII.
pub fn has_unicode() -> bool {
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter().find_map(set).unwrap_or_default();
    let locale = locale.to_string_lossy().to_ascii_lowercase();
    locale.contains("utf-8") || locale.contains("utf8")
}

/// A variable of the environment that is not empty.
fn set(name: &str) -> Option<std::ffi::OsString> {
    std::env::var_os(name).filter(|value| !value.is_empty())
}

/// How long it took from reading the bytes to the screen having been written, for every view drawn.
#[derive(Clone, Debug, Default)]
pub struct Delays {
    /// Counts of delays in steps of 0.1 ms; the last one is for all longer ones.
    counts: Vec<u32>,
}

impl Delays {
    const STEP_MS: f64 = 0.1;
    const STEPS: usize = 5000;

    /// Takes one.
    pub fn add(&mut self, delay: Duration) {
        self.counts.resize(Self::STEPS, 0);
        let step = (delay.as_secs_f64() * 1e3 / Self::STEP_MS) as usize;
        self.counts[step.min(Self::STEPS - 1)] += 1;
    }

    /// How many there are.
    pub fn count(&self) -> u64 {
        self.counts.iter().map(|count| u64::from(*count)).sum()
    }

    /// The delay that a share `q` of them did not exceed, ms; `None` without any.
    pub fn quantile_ms(&self, q: f64) -> Option<f64> {
        let wanted = (self.count() as f64 * q).ceil() as u64;
        let mut seen = 0;
        let at = self.counts.iter().position(|count| {
            seen += u64::from(*count);
            wanted > 0 && seen >= wanted
        })?;
        Some((at + 1) as f64 * Self::STEP_MS)
    }
}

type Screen = Terminal<CrosstermBackend<BufWriter<Stderr>>>;

/// The terminal in full-screen mode; leaving it, however that comes about, gives the terminal back as it was.
struct Entered;

impl Entered {
    fn new() -> io::Result<Self> {
        restore_on_panic();
        enable_raw_mode()?;
        let entered = Self;
        execute!(stderr(), EnterAlternateScreen)?;
        Ok(entered)
    }
}

impl Drop for Entered {
    fn drop(&mut self) {
        restore();
    }
}

fn restore() {
    // A terminal that is gone needs no restoring.
    let _ = disable_raw_mode();
    let _ = execute!(stderr(), LeaveAlternateScreen, ratatui::crossterm::cursor::Show);
}

fn restore_on_panic() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let previous = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            restore();
            previous(panic);
        }));
    });
}

/// Keys, read on a thread of their own.
struct Keyboard {
    end: Arc<AtomicBool>,
    thread: Option<thread::JoinHandle<()>>,
}

impl Keyboard {
    fn start(sender: mpsc::UnboundedSender<Event>) -> io::Result<Self> {
        let end = Arc::new(AtomicBool::new(false));
        let ended = Arc::clone(&end);
        let thread = thread::Builder::new().name("keyboard".into()).spawn(move || {
            while !ended.load(Ordering::Relaxed) {
                match event::poll(KEY_WAIT) {
                    Ok(false) => {}
                    Ok(true) => {
                        let Ok(event) = event::read() else { return };
                        if sender.send(event).is_err() {
                            return;
                        }
                    }
                    Err(_) => return,
                }
            }
        })?;
        Ok(Self { end, thread: Some(thread) })
    }
}

impl Drop for Keyboard {
    fn drop(&mut self) {
        self.end.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            // It cannot fail in a way that would matter here.
            let _ = thread.join();
        }
    }
}

/// Shows the board's views until it comes down or the terminal goes away; says how long the way to the screen was.
///
/// # Errors
/// When the terminal cannot be used.
pub async fn run(board: Board, options: Options) -> io::Result<Delays> {
    let mut views = board.watch();
    let entered = Entered::new()?;
    let mut screen: Screen = Terminal::new(CrosstermBackend::new(BufWriter::with_capacity(64 * 1024, stderr())))?;
    let (sender, mut events) = mpsc::unbounded_channel();
    let keyboard = Keyboard::start(sender)?;
    let mut stop = board.closing();
    let (mut keys, mut delays) = (Keys::default(), Delays::default());
    let make_card = || options.page.as_ref().map(|page| page());
    let mut card = if options.card_first { make_card() } else { None };
    let mut idle = interval(IDLE);
    let mut fresh = false;
    loop {
        let shown = views.borrow_and_update().clone();
        // Nothing may cover a warning.
        if shown.view.running {
            card = None;
        }
        let scene = Scene {
            view: &shown.view,
            link: shown.link(),
            age_s: shown.age().unwrap_or_default().as_secs_f64(),
            prompt: keys.prompt.as_ref(),
            sound: options.sound.load(Ordering::Relaxed),
            page: options.page.is_some(),
            card: card.as_deref(),
            look: options.look,
        };
        if screen.draw(|frame| draw::draw(frame, &scene)).is_err() {
            break;
        }
        if let Some(read) = shown.read.filter(|_| std::mem::take(&mut fresh)) {
            delays.add(read.elapsed());
        }
        tokio::select! {
            biased;
            _ = stop.wait_for(|closed| *closed) => break,
            changed = views.changed() => match changed {
                Ok(()) => fresh = true,
                Err(_) => break,
            },
            event = events.recv() => match event {
                Some(Event::Key(key)) => match keys.press(key, shown.view.paused) {
                    Deed::Nothing => card = None,
                    Deed::Ask(ask) => {
                        board.ask(ask);
                    }
                    Deed::Sound => {
                        options.sound.fetch_xor(true, Ordering::Relaxed);
                    }
                    Deed::Page => card = match card {
                        None => make_card(),
                        Some(_) => None,
                    },
                },
                // Whatever the terminal made of the old picture, all of it is drawn anew.
                Some(Event::Resize(..)) => if screen.clear().is_err() { break },
                Some(_) => {}
                // The keyboard is gone, and with it the terminal.
                None => break,
            },
            _ = idle.tick() => {}
        }
    }
    drop(keyboard);
    let _ = screen.backend_mut().flush();
    drop(screen);
    drop(entered);
    Ok(delays)
}
