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
            let of_session = session.and_then(|id| known.iter().find(|s| s.id == id)).map(|s| s.day.clone());
            let note = Note {
                day: day.map(|day| day.to_string()).or(of_session).unwrap_or_else(|| today().to_string()),
                session: *session,
                section: *section,
                vehicle: vehicle.as_ref().map(|v| store.vehicle(v)).transpose().map_err(&failed)?,
                panel: panel.clone().unwrap_or_default(),
                text: text.clone(),
                recorded_s: None,
            };
            store::doubt_panel(console, &store, note.vehicle, &note.panel)?;
            store.add_note(&note).map_err(&failed)?;
            let at_home = with_place(note, &known.into_iter().map(|s| (s.id, s)).collect());
            console.told("noted", &json(&at_home, &labels(&store)?))?;
            Ok(Done::Fine)
        }
        NoteVerb::Remove { shop: folder, text } => {
            let gone = store::open(&folder.folder)?.remove_notes(text).map_err(store::of(&folder.folder))?;
            let words = format!("{} removed", count(gone, "note", "notes"));
            console.told(&words, &serde_json::json!({ "removed": gone }))?;
            Ok(Done::Fine)
        }
        NoteVerb::List { shop: folder, vehicle, session } => {
            let store = store::open(&folder.folder)?;
            let failed = store::of(&folder.folder);
            let vehicle = vehicle.as_ref().map(|v| store.vehicle(v)).transpose().map_err(&failed)?;
            let sessions: BTreeMap<Id, Session> =
                store.sessions().map_err(&failed)?.into_iter().map(|s| (s.id, s)).collect();
            if let Some(id) = session.filter(|id| !sessions.contains_key(id)) {
                return Err(Failure::failed(format!(
                    "shop {}: there is no session {id}; `steadypass shop status --all` lists them",
                    folder.folder.display()
                )));
            }
            let notes = store.notes().map_err(&failed)?;
            let mut notes: Vec<Note> = notes.into_iter().map(|note| with_place(note, &sessions)).collect();
            notes.retain(|n| {
                vehicle.is_none_or(|v| n.vehicle == Some(v)) && session.is_none_or(|s| n.session == Some(s))
            });
            list(console, &notes, &labels(&store)?)
        }
    }
}

/// Vehicles, by their labels.
fn labels(store: &Shop) -> Result<BTreeMap<Id, String>, Failure> {
    let vehicles = store.vehicles().map_err(store::of(store.folder()))?;
    Ok(vehicles.into_iter().map(|v| (v.id, v.entry.label)).collect())
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

fn list(console: &Console, notes: &[Note], labels: &BTreeMap<Id, String>) -> Outcome {
    if console.json {
        let rows: Vec<_> = notes.iter().map(|note| json(note, labels)).collect();
        console.result(&serde_json::Value::from(rows).to_string())?;
        return Ok(Done::Fine);
    }
    for note in notes {
        let place = [
            label(note, labels).map(str::to_owned),
            Some(note.panel.clone()).filter(|p| !p.is_empty()),
            note.session.map(|id| format!("session {id}")),
            note.section.map(|number| format!("section {number}")),
            note.recorded_s.map(|t| format!("at {}", clock(t))),
        ];
        let place = place.into_iter().flatten().collect::<Vec<_>>().join(", ");
        let place = if place.is_empty() { String::new() } else { format!(" {place}") };
        console.result(&format!("{}{place}: {}", note.day, note.text))?;
    }
    if notes.is_empty() {
        console.result("No notes yet.")?;
    } else {
        console.remark(&count(notes.len(), "note", "notes"));
    }
    Ok(Done::Fine)
}
