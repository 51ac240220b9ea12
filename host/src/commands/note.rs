//! `note`: what was typed about a vehicle, a session or a section, and what was marked while recording.

use std::collections::BTreeMap;

use steadypass::{
    drawing::units::clock,
    guidance::units::count,
    shop::{Id, Note, Session, Shop},
};

use super::{Console, Done, Failure, Outcome, store, today};
use crate::cli::work::{NoteArgs, NoteVerb};

pub(super) fn run(console: &Console, args: &NoteArgs) -> Outcome {
    match &args.what {
        NoteVerb::Add { shop: folder, vehicle, panel, session, section, day, text } => {
            let store = store::open(&folder.folder)?;
            let failed = store::of(&folder.folder);
            let known = store.sessions().map_err(&failed)?;
            let of_session = session.and_then(|id| known.iter().find(|s| s.id == id));
            let note = Note {
                day: day
                    .map(|day| day.to_string())
                    .or(of_session.map(|s| s.day.clone()))
                    .unwrap_or_else(|| today().to_string()),
                session: *session,
                section: *section,
                vehicle: vehicle.as_ref().map(|v| store.vehicle(v)).transpose().map_err(&failed)?,
                panel: panel.clone().unwrap_or_default(),
                text: text.clone(),
                recorded_s: None,
            };
            store::refuse_other_vehicle(&store, *session, note.vehicle)?;
            store::doubt_panel(console, &store, note.vehicle, &note.panel)?;
            store.add_note(&note).map_err(&failed)?;
            let at_home = with_place(note, &known.into_iter().map(|s| (s.id, s)).collect());
            console.told("noted", &json(&at_home, &store::labels(&store)?))?;
            Ok(Done::Fine)
        }
        NoteVerb::Remove { shop: folder, vehicle, session, day, text } => {
            let store = store::open(&folder.folder)?;
            let failed = store::of(&folder.folder);
            let vehicle = vehicle.as_ref().map(|v| store.vehicle(v)).transpose().map_err(&failed)?;
            let day = day.map(|day| day.to_string());
            let sessions = sessions(&store)?;
            let mut found = store.typed_notes().map_err(&failed)?;
            found.retain(|(_, note)| {
                note.text.trim() == text.trim()
                    && of(&with_place(note.clone(), &sessions), vehicle, *session)
                    && day.as_ref().is_none_or(|day| note.day == *day)
            });
            let Some((newest, note)) = found.last() else {
                return Err(Failure::failed(format!(
                    "shop {}: no such note was typed in just these words; `steadypass note list` shows them all, and those of \
                     recordings stay",
                    folder.folder.display()
                )));
            };
            // Of equal ones, typed twice, it does not matter which one goes.
            if found.iter().any(|(_, other)| other != note) {
                let labels = store::labels(&store)?;
                let lines = found.iter().map(|(_, note)| line(&with_place(note.clone(), &sessions), &labels));
                return Err(Failure::failed(format!(
                    "shop {}: {} notes have these words; choose one with --vehicle, --session or --day:\n  {}",
                    folder.folder.display(),
                    found.len(),
                    lines.collect::<Vec<_>>().join("\n  ")
                )));
            }
            store.remove_note(*newest).map_err(&failed)?;
            console.told("1 note removed", &serde_json::json!({ "removed": 1 }))?;
            Ok(Done::Fine)
        }
        NoteVerb::List { shop: folder, vehicle, session } => {
            let store = store::open(&folder.folder)?;
            let failed = store::of(&folder.folder);
            let vehicle = vehicle.as_ref().map(|v| store.vehicle(v)).transpose().map_err(&failed)?;
            let sessions = sessions(&store)?;
            if let Some(id) = session.filter(|id| !sessions.contains_key(id)) {
                return Err(Failure::failed(format!(
                    "shop {}: there is no session {id}; `steadypass shop status --all` lists them",
                    folder.folder.display()
                )));
            }
            let notes = store.notes().map_err(&failed)?;
            let mut notes: Vec<Note> = notes.into_iter().map(|note| with_place(note, &sessions)).collect();
            notes.retain(|note| of(note, vehicle, *session));
            list(console, &notes, &store::labels(&store)?)
        }
    }
}

/// Vehicles, by their labels.
fn sessions(store: &Shop) -> Result<BTreeMap<Id, Session>, Failure> {
    let sessions = store.sessions().map_err(store::of(store.folder()))?;
    Ok(sessions.into_iter().map(|s| (s.id, s)).collect())
}

/// Whether a note with its place is of this vehicle and this session, where one is asked for.
fn of(note: &Note, vehicle: Option<Id>, session: Option<Id>) -> bool {
    vehicle.is_none_or(|v| note.vehicle == Some(v)) && session.is_none_or(|s| note.session == Some(s))
}

/// A session's vehicle and panel are the note's, unless it names its own.
fn with_place(mut note: Note, sessions: &BTreeMap<Id, Session>) -> Note {
    if let Some(session) = note.session.and_then(|id| sessions.get(&id)) {
        note.vehicle = note.vehicle.or(session.vehicle);
        if note.panel.is_empty() {
            note.panel.clone_from(&session.panel);
        }
    }
    note
}

fn label<'a>(note: &Note, labels: &'a BTreeMap<Id, String>) -> Option<&'a str> {
    note.vehicle.and_then(|id| labels.get(&id)).map(String::as_str)
}

fn json(note: &Note, labels: &BTreeMap<Id, String>) -> serde_json::Value {
    serde_json::json!({
        "day": note.day, "vehicle": label(note, labels), "panel": note.panel, "session": note.session, "section": note.section,
        "recorded_s": note.recorded_s, "text": note.text,
    })
}

/// A note with its place in one line.
fn line(note: &Note, labels: &BTreeMap<Id, String>) -> String {
    let place = [
        label(note, labels).map(str::to_owned),
        Some(note.panel.clone()).filter(|p| !p.is_empty()),
        note.session.map(|id| format!("session {id}")),
        note.section.map(|number| format!("section {number}")),
        note.recorded_s.map(|t| format!("at {}", clock(t))),
    ];
    let place = place.into_iter().flatten().collect::<Vec<_>>().join(", ");
    let place = if place.is_empty() { String::new() } else { format!(" {place}") };
    format!("{}{place}: {}", note.day, note.text)
}

fn list(console: &Console, notes: &[Note], labels: &BTreeMap<Id, String>) -> Outcome {
    if console.json {
        let rows: Vec<_> = notes.iter().map(|note| json(note, labels)).collect();
        console.result(&serde_json::Value::from(rows).to_string())?;
        return Ok(Done::Fine);
    }
    for note in notes {
        console.result(&line(note, labels))?;
    }
    if notes.is_empty() {
        console.result("No notes yet.")?;
    } else {
        console.remark(&count(notes.len(), "note", "notes"));
    }
    Ok(Done::Fine)
}
