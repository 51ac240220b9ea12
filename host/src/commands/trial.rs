//! `trial`: the test spot. What to try, what came of it, which to keep.

use steadypass::{
    guidance::{Units, units::count},
    shop::{
        ProductKind, Shop, Trial, TriesOf,
        trial::{Candidate, History, evidence},
    },
};

use super::{Console, Done, Failure, Outcome, store, today};
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
            let trial = Trial {
                vehicle: store.vehicle(&add.vehicle).map_err(&failed)?,
                panel: add.panel.clone(),
                day: add.day.unwrap_or_else(today).to_string(),
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
            let cautions = trial.cautions(console.units(Units::Si));
            for caution in &cautions {
                console.remark(&format!("Caution: {caution}"));
            }
            if !cautions.is_empty() {
                console.remark("A try put down wrongly is taken back with `steadypass trial remove`.");
            }
            verdict(console, &store, &add.vehicle, None)
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
            verdict(console, &store, vehicle, None)
        }
        TrialVerb::Verdict { shop: folder, vehicle, panel } => {
            let store = store::open(&folder.folder)?;
            verdict(console, &store, vehicle, panel.as_deref())
        }
    }
}

fn history(store: &Shop) -> Result<History, Failure> {
    let year = i64::from(today().year());
    History::of(store, year).map_err(store::of(store.folder()))
}

fn propose(console: &Console, store: &Shop, vehicle: &str, panel: Option<&str>) -> Outcome {
    let id = store.vehicle(vehicle).map_err(store::of(store.folder()))?;
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
            "try": proposal.two.iter().map(|&i| &proposal.group[i].name).collect::<Vec<_>>(),
        });
        console.result(&result.to_string())?;
        return Ok(Done::Fine);
    }
    console.result(&format!("{vehicle}: {}", proposal.paint))?;
    console.result("\nThe group, mildest first; → is to be tried:")?;
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
    let verdict = history(store)?.verdict(id, panel);
    if console.json {
        let tries: Vec<_> = verdict
            .tries
            .iter()
            .map(|(t, name)| {
                serde_json::json!({
                    "name": name, "panel": t.panel, "day": t.day, "passes": t.passes, "reached": t.finish_reached,
                    "counts_as_finished": t.finished(), "haze": t.haze, "holograms": t.holograms, "film_taken_um": t.film_taken_um,
                })
            })
            .collect();
        let keep = verdict.keep.map(|i| &verdict.tries[i].1);
        console.result(&serde_json::json!({ "tries": tries, "keep": keep, "words": verdict.words }).to_string())?;
        return Ok(Done::Fine);
    }
    let units = console.units(Units::Si);
    for (t, name) in &verdict.tries {
        let panel = if t.panel.is_empty() { String::new() } else { format!(", {}", t.panel) };
        console.result(&format!("{name}{panel}, {}", t.outcome(units)))?;
    }
    console.result(&verdict.words)?;
    Ok(Done::Fine)
}
