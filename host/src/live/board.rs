//! Where the newest view hangs for all to see, and where wishes are handed in.

use std::{
    sync::Arc,
    time::{Duration, Instant},
};

use tokio::sync::{mpsc, watch};

use super::view::View;
use crate::session::JudgedPass;

/// Figures older than this are shown as old.
const STALE: Duration = Duration::from_millis(1000);

/// What someone at a screen or page wants.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ask {
    /// Start a new section.
    NewSection,
    /// Write something down.
    Note(String),
    /// Someone else takes the machine.
    Technician(String),
    /// Be quiet for a while, or speak again; recording goes on.
    Pause(bool),
    /// End the recording.
    Stop,
}

/// How the sensor's lead is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Link {
    /// No figures yet.
    #[default]
    Waiting,
    /// Figures come.
    Good,
    /// None come.
    Lost,
}

/// A view with the moment it came about.
#[derive(Clone, Debug)]
pub struct Shown {
    /// What to show.
    pub view: Arc<View>,
    /// When the figures in it were last heard.
    pub heard: Option<Instant>,
    /// When the bytes that led to it were read from the port; `None` when it was something else.
    pub read: Option<Instant>,
}

impl Shown {
    /// How old the figures are.
    pub fn age(&self) -> Option<Duration> {
        self.heard.map(|heard| heard.elapsed())
    }

    /// How the lead is, as far as the silence tells.
    pub fn link(&self) -> Link {
        match (self.view.lost, self.age()) {
            (false, None) => Link::Waiting,
            (false, Some(age)) if age < STALE => Link::Good,
            _ => Link::Lost,
        }
    }
}

/// The board: the newest view for any number of viewers, the pass drawn last, and a slot for wishes.
///
/// A slow viewer gets the newest view, never a backlog.
#[derive(Clone, Debug)]
pub struct Board {
    shown: watch::Sender<Shown>,
    last_pass: watch::Sender<Option<Arc<JudgedPass>>>,
    asks: mpsc::Sender<Ask>,
    closed: watch::Sender<bool>,
    hung: Instant,
}

/// Wishes that may wait; nobody presses faster.
const ASKS: usize = 32;

impl Board {
    /// A board with a first view, and the end where wishes come out.
    pub fn new(view: View) -> (Self, mpsc::Receiver<Ask>) {
        let (asks, wishes) = mpsc::channel(ASKS);
        let shown = Shown { view: Arc::new(view), heard: None, read: None };
        (
            Self {
                shown: watch::Sender::new(shown),
                last_pass: watch::Sender::new(None),
                asks,
                closed: watch::Sender::new(false),
                hung: Instant::now(),
            },
            wishes,
        )
    }

    /// Hangs up a view; `read` says when the bytes were read that led to it, `heard` whether its figures are new.
    pub fn show(&self, view: View, read: Option<Instant>, heard: bool) {
        self.shown.send_modify(|shown| {
            shown.view = Arc::new(view);
            shown.read = read;
            if heard {
                shown.heard = Some(read.unwrap_or_else(Instant::now));
            }
        });
    }

    /// Hangs up a settled pass, for its sheet.
    pub fn show_pass(&self, judged: Arc<JudgedPass>) {
        self.last_pass.send_replace(Some(judged));
    }

    /// A viewer's end.
    pub fn watch(&self) -> watch::Receiver<Shown> {
        self.shown.subscribe()
    }

    /// The view that hangs now.
    pub fn newest(&self) -> Shown {
        self.shown.borrow().clone()
    }

    /// When the board was put up.
    pub fn hung(&self) -> Instant {
        self.hung
    }

    /// The pass settled last.
    pub fn last_pass(&self) -> Option<Arc<JudgedPass>> {
        self.last_pass.borrow().clone()
    }

    /// Takes the board down: viewers end.
    pub fn close(&self) {
        self.closed.send_replace(true);
    }

    /// Turns true when the board comes down.
    pub fn closing(&self) -> watch::Receiver<bool> {
        self.closed.subscribe()
    }

    /// Hands in a wish; `false` when nobody takes it any more or too many wait.
    pub fn ask(&self, ask: Ask) -> bool {
        self.asks.try_send(ask).is_ok()
    }
}
