//! Those who look at a live session: the terminal's full screen, the page, the loudspeaker. Set up before anything is recorded,
//! so that a page's port being taken is said then, and ended with it.

use std::{
    net::{IpAddr, Ipv4Addr, SocketAddr},
    sync::{Arc, atomic::AtomicBool},
    time::Duration,
};

use steadypass::{
    analysis::rubbing::RubbingMap,
    drawing::{SessionFacts, rubbing_setup, section_pass_png},
    guidance::{Plan, Units},
    live::{
        Ask, Board, Model,
        page::{self, DrawSheet, Page},
        sound::{self, Sound},
        terminal,
    },
    recording::{Facts, Source},
    session::JudgedPass,
};
use tokio::{sync::mpsc, task::JoinHandle, time::timeout};

use super::{
    Console, Failure,
    console::Hold,
    facts::machine_text,
    sheets::{session_of, sheet_of},
};
use crate::cli::WatchArgs;

/// Watchers have this long to end.
const GOODBYE: Duration = Duration::from_secs(3);

/// Watchers that are set up but do not look yet.
pub(super) struct Watchers {
    pub(super) board: Board,
    asks: mpsc::Receiver<Ask>,
    terminal: Option<terminal::Options>,
    page: Option<Page>,
    draw: DrawSheet,
    sound: Option<Sound>,
    sounding: Arc<AtomicBool>,
    beat: bool,
}

/// Watchers at work.
pub(super) struct Watching {
    pub(super) board: Board,
    tasks: Vec<JoinHandle<()>>,
    screen: Option<(JoinHandle<std::io::Result<terminal::Delays>>, Hold)>,
}

impl Watchers {
    pub(super) fn prepare(
        console: &Console,
        args: &WatchArgs,
        model: &Model,
        (plan, units): (&Plan, Units),
        facts: &Facts,
    ) -> Result<Self, Failure> {
        let page = args.address().map(Page::bind).transpose().map_err(Failure::failed)?;
        let (board, asks) = Board::new(model.view().clone());
        let sounding = Arc::new(AtomicBool::new(!args.no_sound));
        let look = if args.plain || console.is_quiet() || console.json { None } else { terminal::look() };
        if let Some(page) = &page {
            for line in page::card(&page.guard()) {
                console.remark(&line);
            }
        }
        let guard = page.as_ref().map(Page::guard);
        let wide = guard.as_ref().is_some_and(|guard| guard.is_wide());
        let terminal = look.map(|look| terminal::Options {
            look,
            sound: Arc::clone(&sounding),
            page: guard.map(|guard| Arc::new(move || page::card(&guard)) as terminal::Card),
            card_first: wide,
        });
        // A bell in a log file helps nobody.
        let wanted = terminal.is_some() || page.is_some() || args.beat;
        let sound = wanted.then(|| Sound::new(f64::from(args.volume) / 100.0));
        if let Some(sound) = &sound {
            console.detail(&sound.describe());
        }
        let draw = draw_sheet(plan.clone(), units, facts);
        Ok(Self { board, asks, terminal, page, draw, sound, sounding, beat: args.beat })
    }

    /// Whether the terminal's full screen is used.
    pub(super) fn full_screen(&self) -> bool {
        self.terminal.is_some()
    }

    /// Lets them look; wishes come out of the receiver.
    pub(super) fn start(self, console: &Console) -> (Watching, mpsc::Receiver<Ask>) {
        let Self { board, asks, terminal, page, draw, sound, sounding, beat } = self;
        let mut tasks = Vec::new();
        if let Some(page) = page {
            let board = board.clone();
            tasks.push(tokio::spawn(async move {
                if let Err(error) = page.serve(board, draw).await {
                    tracing::warn!("the live page has ended: {error}");
                }
            }));
        }
        if let Some(sound) = sound {
            tasks.push(tokio::spawn(sound::run(board.clone(), sound, sounding, beat)));
        }
        let screen = terminal.map(|options| (tokio::spawn(terminal::run(board.clone(), options)), console.hold()));
        (Watching { board, tasks, screen }, asks)
    }
}

impl Watching {
    /// Ends them; gives the terminal back and says what waited.
    pub(super) async fn end(self, console: &Console) {
        self.board.close();
        if let Some((screen, hold)) = self.screen {
            let ended = timeout(GOODBYE, screen).await;
            drop(hold);
            match ended {
                Ok(Ok(Ok(delays))) => {
                    if let (Some(half), Some(most)) = (delays.quantile_ms(0.5), delays.quantile_ms(0.99)) {
                        console.detail(&format!(
                            "From port to screen, {} pictures: half within {half:.1} ms, 99 % within {most:.1} ms",
                            delays.count()
                        ));
                    }
                }
                Ok(Ok(Err(error))) => console.remark(&format!("The terminal view ended: {error}")),
                _ => {}
            }
        }
        for task in self.tasks {
            // One that hangs is left behind; the program ends without it.
            let _ = timeout(GOODBYE, task).await;
        }
    }
}

/// Draws the sheet of a pass as it is known live; the review's may differ in nothing but what the plan says.
fn draw_sheet(plan: Plan, units: Units, facts: &Facts) -> DrawSheet {
    let session = SessionFacts {
        technician: facts.technician.clone(),
        machine: if facts.machine.is_empty() { machine_text(&plan) } else { facts.machine.clone() },
        // On the page no customer's name: others may see it.
        panel: String::new(),
        date: facts.started.get(..16).unwrap_or_default().replace('T', ", "),
        invented: facts.source == Source::Simulation,
        no_looks: false,
        // A sensor's recording comes from no table.
        table_remarks: Vec::new(),
    };
    Arc::new(move |judged: &JudgedPass| {
        let rubbing = RubbingMap::of(&[&judged.pass.track], &rubbing_setup(&plan));
        let session = session_of(&session, judged);
        section_pass_png(&sheet_of(judged, &session, rubbing.as_ref(), &plan, units)).ok()
    })
}

impl WatchArgs {
    /// Where the page shall be, if anywhere.
    fn address(&self) -> Option<SocketAddr> {
        match (&self.listen, self.page) {
            (Some(listen), port) => Some(SocketAddr::new(*listen, port.flatten().unwrap_or(page::PORT))),
            (None, Some(port)) => Some(SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), port.unwrap_or(page::PORT))),
            (None, None) => None,
        }
    }
}
