//! `trial`: the test spot. What to try, what came of it, which to keep.

use steadypass::{
    guidance::{Units, units::count},
    name,
    shop::{
        Id, ProductKind, Shop, Trial, TriesOf,
        film::ThinFilm,
        trial::{Candidate, History, Verdict, evidence},
    },
};

use super::{
    Console, Done, Failure, Outcome,
    store::{self, thin_json},
    today,
};
use crate::cli::work::{TrialArgs, TrialVerb};

pub(super) fn run(console: &Console, args: &TrialArgs) -> Outcome {
    match &args.what {
        TrialVerb::Propose { shop: folder, vehicle, panel } => {
            let store = store::open(&folder.folder)?;
            propose(console, &store, vehicle, panel.as_deref())
        }
        TrialVerb::Add(add) => {
            let store = store::open(&add.shop.folder)?;
            let failed = store::of(&add.shop.folder);
            let day_of_session = match add.session {
                Some(id) => store.sessions().map_err(&failed)?.into_iter().find(|s| s.id == id).map(|s| s.day),
                None => None,
            };
            let trial = Trial {
                vehicle: store.vehicle(&add.vehicle).map_err(&failed)?,
                panel: add.panel.clone(),
                day: add.day.map(|day| day.to_string()).or(day_of_session).unwrap_or_else(|| today().to_string()),
                technician: store.technician(&add.technician).map_err(&failed)?,
                machine: add.machine.as_ref().map(|m| store.machine(m)).transpose().map_err(&failed)?,
                pad: store.product(ProductKind::Pad, &add.pad).map_err(&failed)?,
                liquid: store.product(ProductKind::Liquid, &add.liquid).map_err(&failed)?,
                session: add.session,
                passes: add.passes,
                finish_reached: add.reached,
                haze: add.haze,
                holograms: add.holograms,
                film_taken_um: add.film_um,
                note: add.note.clone(),
            };
            store::refuse_other_vehicle(&store, trial.session, Some(trial.vehicle))?;
            store::doubt_panel(console, &store, Some(trial.vehicle), &trial.panel)?;
            store.add_trial(&trial).map_err(&failed)?;
            let mut cautions = trial.cautions(console.units(Units::Si));
            cautions.extend(unlike_session(&store, &trial)?);
            for caution in &cautions {
                console.remark(&format!("Caution: {caution}"));
            }
            if !cautions.is_empty() {
                console.remark("A try put down wrongly is taken back with `steadypass trial remove`.");
            }
            verdict(console, &store, &add.vehicle, Some(&add.panel))
        }
        TrialVerb::Remove { shop: folder, vehicle, pad, liquid, panel, day } => {
            let store = store::open(&folder.folder)?;
            let failed = store::of(&folder.folder);
            let day = day.map(|day| day.to_string());
            let of = TriesOf {
                vehicle: store.vehicle(vehicle).map_err(&failed)?,
                pad: store.product(ProductKind::Pad, pad).map_err(&failed)?,
                liquid: store.product(ProductKind::Liquid, liquid).map_err(&failed)?,
                panel: panel.as_deref(),
                day: day.as_deref(),
            };
            let gone = store.remove_trials(of).map_err(&failed)?;
            console.remark(&format!("{} removed.", count(gone.len(), "try", "tries")));
            verdict(console, &store, vehicle, of.panel)
        }
        TrialVerb::Verdict { shop: folder, vehicle, panel } => {
            let store = store::open(&folder.folder)?;
            verdict(console, &store, vehicle, panel.as_deref())
        }
    }
}

/// What a try and the session that it names differ in, in words. It is taken all the same: a recording may hold several tries.
fn unlike_session(store: &Shop, trial: &Trial) -> Result<Option<String>, Failure> {
    let failed = store::of(store.folder());
    let Some(id) = trial.session else { return Ok(None) };
    let sessions = store.sessions().map_err(&failed)?;
    let Some(session) = sessions.iter().find(|s| s.id == id) else { return Ok(None) };
    let (products, machines) = (store.products().map_err(&failed)?, store.machines().map_err(&failed)?);
    let product = |id: Id| products.iter().find(|p| p.id == id).map_or("?", |p| p.entry.name.as_str());
    let machine = |id: Id| machines.iter().find(|m| m.id == id).map_or("?", |m| m.entry.name.as_str());
    let told = |panel| Some(panel).filter(|panel: &&str| !panel.is_empty());
    let differs: Vec<String> = [
        ("pad", session.pad.map(product), Some(product(trial.pad))),
        ("liquid", session.liquid.map(product), Some(product(trial.liquid))),
        ("machine", session.machine.map(machine), trial.machine.map(machine)),
        ("panel", told(session.panel.as_str()), told(trial.panel.as_str())),
        ("day", Some(session.day.as_str()), Some(trial.day.as_str())),
    ]
    .into_iter()
    .filter_map(|(what, session, own)| Some((what, session?, own?)))
    .filter(|(_, session, own)| !name::same(session, own))
    .map(|(what, session, own)| format!("{what} {session}, not {own}"))
    .collect();
    Ok((!differs.is_empty()).then(|| {
        format!(
            "session {id} is filed with {}. Its warmth counts for this try. If that is wrong, take the try back and give its own session or \
             none; if the session is filed wrongly, review its recording again with --pad, --liquid, --machine or --panel.",
            differs.join("; ")
        )
    }))
}

fn history(store: &Shop) -> Result<History, Failure> {
    let year = i64::from(today().year());
    History::of(store, year).map_err(store::of(store.folder()))
}

/// Says what the shop's own limit says of the film, before anything else.
fn say_thin(console: &Console, thin: &[ThinFilm], units: Units) -> std::io::Result<()> {
    thin.iter().try_for_each(|thin| console.result(&format!("{}.", thin.words(units))))
}

fn propose(console: &Console, store: &Shop, vehicle: &str, panel: Option<&str>) -> Outcome {
    let id = store.vehicle(vehicle).map_err(store::of(store.folder()))?;
    let thin = store.thin_film(id, panel).map_err(store::of(store.folder()))?;
    let units = console.units(Units::Si);
    let history = history(store)?;
    let proposal = history.propose(id, panel).filter(|p| !p.group.is_empty()).ok_or_else(|| {
        Failure::failed(
            "the shop knows no pads or no liquids yet; add them with `steadypass shop add pad NAME --place 1 --shop DIR`",
        )
    })?;
    if console.json {
        let candidate = |c: &Candidate| {
            serde_json::json!({
                "name": c.name, "chance": c.known_chance().map(|c| c.mean), "lo90": c.chance.map(|c| c.lo),
                "hi90": c.chance.map(|c| c.hi), "tries_here": c.here.0, "reached_here": c.here.1, "tries": c.all.0,
                "reached": c.all.1,
            })
        };
        let result = serde_json::json!({
            "paint": proposal.paint, "evidence": proposal.any_evidence, "why": proposal.why,
            "group": proposal.group.iter().map(candidate).collect::<Vec<_>>(),
            "try": proposal.two.iter().map(|&i| &proposal.group[i].name).collect::<Vec<_>>(), "thin_film": thin_json(&thin),
        });
        console.result(&result.to_string())?;
        return Ok(Done::Fine);
    }
    say_thin(console, &thin, units)?;
    console.result(&format!("{vehicle}: {}", proposal.paint))?;
    console.result(if proposal.two.is_empty() {
        "\nThose around what was tried, mildest first; none of them is to be tried:"
    } else {
        "\nThe group, mildest first; → is to be tried:"
    })?;
    for (i, candidate) in proposal.group.iter().enumerate() {
        let mark = if proposal.two.contains(&i) { "→" } else { " " };
        console.result(&format!("  {mark} {}. {}: {}", i + 1, candidate.name, evidence(candidate)))?;
    }
    console.result(if proposal.two.is_empty() { "\nNothing to try:" } else { "\nTry, least aggressive first:" })?;
    for why in &proposal.why {
        console.result(&format!("  {why}"))?;
    }
    console.remark(
        "\nA test spot decides, not the record. Other painted parts may differ from the body: test again on each. Readings of the \
         film gauge and the makers' advice come before any figure here.",
    );
    Ok(Done::Fine)
}

fn verdict(console: &Console, store: &Shop, vehicle: &str, panel: Option<&str>) -> Outcome {
    let id = store.vehicle(vehicle).map_err(store::of(store.folder()))?;
    let thin = store.thin_film(id, panel).map_err(store::of(store.folder()))?;
    let verdicts = history(store)?.verdicts(id, panel);
    if console.json {
        let tried = |(t, name): &(Trial, String)| {
            serde_json::json!({
                "name": name, "day": t.day, "passes": t.passes, "reached": t.finish_reached, "counts_as_finished": t.finished(),
                "haze": t.haze, "holograms": t.holograms, "film_taken_um": t.film_taken_um,
            })
        };
        let of_panel = |v: &Verdict| {
            serde_json::json!({
                "panel": v.panel, "tries": v.tries.iter().map(tried).collect::<Vec<_>>(), "keep": v.keep.map(|i| &v.tries[i].1),
                "words": v.words,
            })
        };
        let panels: Vec<_> = verdicts.iter().map(of_panel).collect();
        console.result(&serde_json::json!({ "panels": panels, "thin_film": thin_json(&thin) }).to_string())?;
        return Ok(Done::Fine);
    }
    let units = console.units(Units::Si);
    say_thin(console, &thin, units)?;
    if verdicts.is_empty() {
        console.result("Nothing was tried here yet.")?;
    }
    for (i, verdict) in verdicts.iter().enumerate() {
        if i > 0 {
            console.result("")?;
        }
        for (t, name) in &verdict.tries {
            let panel = if t.panel.is_empty() { String::new() } else { format!(", {}", t.panel) };
            console.result(&format!("{name}{panel}, {}", t.outcome(units)))?;
        }
        console.result(&verdict.words)?;
    }
    Ok(Done::Fine)
}
