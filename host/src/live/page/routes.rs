//! What the page's address answers.

use std::{
    convert::Infallible,
    sync::{Arc, Mutex, PoisonError},
    time::Duration,
};

use axum::{
    Json, Router,
    extract::{DefaultBodyLimit, Query, Request, State},
    http::{HeaderMap, HeaderValue, StatusCode, header},
    middleware::{Next, from_fn_with_state},
    response::{IntoResponse, Response, Sse, sse::Event},
    routing::{get, post},
};
use futures_util::stream::{Stream, unfold};
use serde::{Deserialize, Serialize};
use tokio::{sync::watch, time::sleep};

use super::{DrawSheet, guard::Guard};
use crate::{
    drawing::lettering,
    live::{
        board::{Ask, Board, Link, Shown},
        view::{PassRow, View},
    },
};

/// The page hears from us at least this often, so that it can tell silence from calm.
const PULSE: Duration = Duration::from_millis(500);
/// Largest request, bytes: a note and its wrapping.
const MAX_BODY: usize = 2048;
/// Longest note, letters.
const LONGEST_NOTE: usize = 200;

/// Only from here; no frames around it; styles and scripts as files.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; \
     connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

#[derive(Clone)]
struct Site {
    board: Board,
    guard: Arc<Guard>,
    draw: DrawSheet,
    sheet: Arc<Mutex<Option<Sheet>>>,
}

/// The sheet drawn last.
struct Sheet {
    pass: u32,
    png: Vec<u8>,
}

pub(super) fn router(board: Board, guard: Arc<Guard>, draw: DrawSheet) -> Router {
    let site = Site { board, guard, draw, sheet: Arc::default() };
    let file =
        |kind: &'static str, bytes: &'static [u8]| get(move || async move { ([(header::CONTENT_TYPE, kind)], bytes) });
    Router::new()
        .route("/", get(index))
        .route("/live.css", file("text/css; charset=utf-8", include_bytes!("../../../assets/live/live.css")))
        .route("/live.js", file("text/javascript; charset=utf-8", include_bytes!("../../../assets/live/live.js")))
        .route("/icon.svg", file("image/svg+xml", include_bytes!("../../../assets/live/icon.svg")))
        .route("/inter.ttf", file("font/ttf", lettering::REGULAR))
        .route("/inter-semibold.ttf", file("font/ttf", lettering::SEMIBOLD))
        .route("/events", get(events))
        .route("/sheet.png", get(sheet))
        .route("/ask", post(ask))
        .layer(DefaultBodyLimit::max(MAX_BODY))
        .layer(from_fn_with_state(site.clone(), admit))
        .with_state(site)
}

#[derive(Deserialize)]
struct Ticket {
    k: Option<String>,
}

/// Lets in or turns away, redeems tickets, and puts the same safe headers on every answer.
async fn admit(State(site): State<Site>, Query(ticket): Query<Ticket>, request: Request, next: Next) -> Response {
    let at_door = request.uri().path() == "/" && site.guard.knows_host(request.headers());
    let redeemed = ticket.k.filter(|_| at_door).map(|ticket| site.guard.redeem(&ticket));
    let mut response = match redeemed.flatten() {
        Some(cookie) => {
            (StatusCode::SEE_OTHER, [(header::SET_COOKIE, cookie), (header::LOCATION, "/".to_owned())]).into_response()
        }
        None => match site.guard.check(request.method(), request.headers()) {
            Ok(()) => next.run(request).await,
            Err((status, words)) => (status, words).into_response(),
        },
    };
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

async fn index() -> impl IntoResponse {
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], include_bytes!("../../../assets/live/index.html").as_slice())
}

/// What goes over the wire: a view, and what changes seldom only when it has changed.
#[derive(Serialize)]
struct Sent<'a> {
    #[serde(flatten)]
    view: &'a View,
    link: Link,
    age_s: f64,
    may_write: bool,
    /// Number of the pass whose sheet there is.
    sheet: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cells: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    passes: Option<&'a [PassRow]>,
}

struct Viewer {
    board: Board,
    views: watch::Receiver<Shown>,
    closing: watch::Receiver<bool>,
    may_write: bool,
    before: Option<Shown>,
    ended: bool,
}

async fn events(State(site): State<Site>, headers: HeaderMap) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let mut views = site.board.watch();
    views.mark_changed();
    let state = Viewer {
        views,
        closing: site.board.closing(),
        may_write: site.guard.has_key(&headers),
        board: site.board,
        before: None,
        ended: false,
    };
    Sse::new(unfold(state, next_event))
}

async fn next_event(mut state: Viewer) -> Option<(Result<Event, Infallible>, Viewer)> {
    if state.ended {
        return None;
    }
    let closed = tokio::select! {
        biased;
        _ = state.closing.wait_for(|closed| *closed) => true,
        changed = state.views.changed() => changed.is_err(),
        () = sleep(PULSE) => false,
    };
    if closed {
        state.ended = true;
        // An event without data is not handed on by browsers.
        return Some((Ok(Event::default().event("end").data("over")), state));
    }
    let shown = state.views.borrow_and_update().clone();
    let before = state.before.as_ref().map(|before| &before.view);
    let sent = Sent {
        view: &shown.view,
        link: shown.link(),
        age_s: shown.age().unwrap_or_default().as_secs_f64(),
        may_write: state.may_write,
        sheet: state.board.last_pass().map(|judged| judged.pass.pass),
        cells: before
            .is_none_or(|before| before.cells != shown.view.cells)
            .then(|| shown.view.cells.iter().map(|times| char::from(b'0' + times)).collect()),
        passes: before
            .is_none_or(|before| !Arc::ptr_eq(&before.passes, &shown.view.passes))
            .then_some(shown.view.passes.as_slice()),
    };
    // A view is numbers and text; should it not serialise, the page shows silence rather than nonsense.
    let event = Event::default().json_data(&sent).unwrap_or_default();
    state.before = Some(shown);
    Some((Ok(event), state))
}

/// The sheet of the pass settled last, drawn when first asked for.
async fn sheet(State(site): State<Site>) -> Response {
    let drawn = tokio::task::spawn_blocking(move || {
        let judged = site.board.last_pass()?;
        let mut kept = site.sheet.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(sheet) = kept.as_ref().filter(|sheet| sheet.pass == judged.pass.pass) {
            return Some(sheet.png.clone());
        }
        let png = (site.draw)(&judged)?;
        *kept = Some(Sheet { pass: judged.pass.pass, png: png.clone() });
        Some(png)
    });
    match drawn.await {
        Ok(Some(png)) => ([(header::CONTENT_TYPE, "image/png")], png).into_response(),
        _ => (StatusCode::NOT_FOUND, "No pass is finished yet.").into_response(),
    }
}

#[derive(Deserialize)]
#[serde(tag = "ask", rename_all = "kebab-case", deny_unknown_fields)]
enum Wanted {
    NewSection {},
    Note { text: String },
    Pause { on: bool },
}

async fn ask(State(site): State<Site>, Json(wanted): Json<Wanted>) -> Response {
    let ask = match wanted {
        Wanted::NewSection {} => Ask::NewSection,
        Wanted::Pause { on } => Ask::Pause(on),
        Wanted::Note { text } => {
            let text: String = text.chars().filter(|letter| !letter.is_control()).take(LONGEST_NOTE).collect();
            if text.trim().is_empty() {
                return (StatusCode::UNPROCESSABLE_ENTITY, "There is nothing to write down.").into_response();
            }
            Ask::Note(text.trim().to_owned())
        }
    };
    if site.board.ask(ask) {
        StatusCode::NO_CONTENT.into_response()
    } else {
        (StatusCode::SERVICE_UNAVAILABLE, "The recording is not taking this now; try again.").into_response()
    }
}
