//! The names of `shop`: added, put right, taken away.

use std::path::Path;

use serde_json::json;
use steadypass::shop::{Id, Listed, MachineEntry, NO_VEHICLE, Product, ProductKind, Technician, Uses, Vehicle};

use super::{
    Console, Done, Failure, Outcome,
    store::{of, open},
};
use crate::cli::{
    a_whole_number,
    shop::{AddArgs, AddWhat, DescribeArgs, RemoveWhat, RenameArgs, RenameWhat},
};

pub(super) fn add(console: &Console, args: &AddArgs) -> Outcome {
    let shop = open(&args.shop.folder)?;
    let (name, note) = (args.name.clone(), args.note.clone());
    let place = || {
        args.place.ok_or_else(|| {
            Failure::Usage(
                "--place N is needed: the place in the shop's own order of aggressiveness, 1 = mildest".into(),
            )
        })
    };
    let added = match args.what {
        AddWhat::Technician => shop.add_technician(&Technician { name, note }),
        AddWhat::Machine => shop.add_machine(&MachineEntry {
            name,
            kind: args
                .kind
                .clone()
                .ok_or_else(|| Failure::Usage("--kind orbital or --kind rotary is needed".into()))?,
            throw_mm: args.throw_mm,
            pad_diameters_mm: args.pad_mm.clone(),
            note,
        }),
        AddWhat::Pad => shop.add_product(&Product { kind: ProductKind::Pad, name, aggressiveness: place()?, note }),
        AddWhat::Liquid => {
            shop.add_product(&Product { kind: ProductKind::Liquid, name, aggressiveness: place()?, note })
        }
        AddWhat::Vehicle => shop.add_vehicle(&Vehicle {
            label: name,
            paint: args.paint.clone(),
            paint_year: args.year,
            colour: args.colour.clone(),
            hardness: args.hardness.clone(),
            owner: args.owner.clone(),
            note,
        }),
    };
    added.map_err(of(&args.shop.folder))?;
    let what = listed_as(args.what).as_str();
    console.told(&format!("{} added", args.name), &json!({ "what": what, "name": args.name }))?;
    Ok(Done::Fine)
}

pub(super) fn describe(console: &Console, args: &DescribeArgs) -> Outcome {
    let shop = open(&args.shop.folder)?;
    let failed = of(&args.shop.folder);
    let DescribeArgs { paint, year, colour, hardness, owner, note, .. } = args;
    if [paint, colour, hardness, owner, note].iter().all(|told| told.is_none()) && year.is_none() {
        return Err(Failure::Usage(
            "nothing is told to change: --paint, --year, --colour, --hardness, --owner or --note".into(),
        ));
    }
    let id = shop.vehicle(&args.vehicle).map_err(&failed)?;
    let now = shop
        .describe_vehicle(id, |vehicle| {
            for (told, kept) in [
                (paint, &mut vehicle.paint),
                (colour, &mut vehicle.colour),
                (hardness, &mut vehicle.hardness),
                (note, &mut vehicle.note),
            ] {
                if let Some(told) = told {
                    kept.clone_from(told);
                }
            }
            vehicle.paint_year = year.map_or(vehicle.paint_year, |told| told.0);
            if let Some(owner) = owner {
                vehicle.owner = Some(owner.clone()).filter(|owner| !owner.trim().is_empty());
            }
        })
        .map_err(&failed)?;
    console.told(&now.words(), &json!(now))?;
    Ok(Done::Fine)
}

pub(super) fn rename(console: &Console, args: &RenameArgs) -> Outcome {
    let shop = open(&args.shop.folder)?;
    let failed = of(&args.shop.folder);
    let (old, new) = (&args.old, &args.new);
    let listed = match args.what {
        RenameWhat::Name(name) => listed_as(name),
        RenameWhat::Panel => {
            let vehicle = args.vehicle.as_deref();
            let uses = shop.rename_panel(vehicle, old, new, args.merge).map_err(&failed)?;
            console.told(
                &format!("{old} of {} is {new} now: {}", vehicle.unwrap_or(NO_VEHICLE), uses.words()),
                &json!({
                    "what": "panel", "vehicle": vehicle, "old": old, "new": new, "merged": args.merge, "moved": uses,
                }),
            )?;
            return Ok(Done::Fine);
        }
    };
    if args.vehicle.is_some() {
        return Err(Failure::Usage(format!("--vehicle is for panels; a {} is found by its name", listed.as_str())));
    }
    let (words, moved) = if args.merge {
        let moved = shop.merge(listed, old, new).map_err(&failed)?;
        let words = if moved == Uses::default() { "nothing used it".to_owned() } else { moved.words() };
        (format!("{old} went into {new}: {words}"), Some(moved))
    } else {
        shop.rename(listed, old, new).map_err(&failed)?;
        (format!("{old} is {new} now"), None)
    };
    console.told(
        &words,
        &json!({ "what": listed.as_str(), "old": old, "new": new, "merged": args.merge, "moved": moved }),
    )?;
    Ok(Done::Fine)
}

pub(super) fn remove(console: &Console, folder: &Path, what: RemoveWhat, name: &str) -> Outcome {
    let what = match what {
        RemoveWhat::Name(name) => listed_as(name),
        RemoveWhat::Session => return remove_session(console, folder, name),
    };
    open(folder)?.remove_name(what, name).map_err(of(folder))?;
    console.told(&format!("{name} removed"), &json!({ "what": what.as_str(), "name": name }))?;
    Ok(Done::Fine)
}

fn remove_session(console: &Console, folder: &Path, number: &str) -> Outcome {
    let session = a_whole_number(number).map_err(|why| Failure::Usage(format!("session {number}: {why}")))?;
    let shop = open(folder)?;
    let failed = of(folder);
    let sessions = shop.sessions().map_err(&failed)?;
    let gone = shop.remove_session(session).map_err(&failed)?;
    let told: Vec<String> = gone.iter().map(Id::to_string).collect();
    let (word, others) = match gone.len() {
        1 => ("session", ""),
        _ => ("sessions", ", the parts of one recording,"),
    };
    console.told(
        &format!("{word} {}{others} removed", told.join(", ")),
        &json!({ "what": "session", "name": number, "sessions": gone }),
    )?;
    let recording = sessions.into_iter().find(|s| s.id == session).and_then(|s| s.recording);
    console.remark(&match recording {
        Some(gone) if !Path::new(&gone).is_file() => {
            format!("{gone} is not at its place; it can be filed anew only where it lies now.")
        }
        Some(recording) => format!("{recording} is not touched; a review of it with --shop files it anew."),
        None => "It had no recording: it cannot be filed anew.".to_owned(),
    });
    Ok(Done::Fine)
}

fn listed_as(what: AddWhat) -> Listed {
    match what {
        AddWhat::Technician => Listed::Technician,
        AddWhat::Machine => Listed::Machine,
        AddWhat::Pad => Listed::Pad,
        AddWhat::Liquid => Listed::Liquid,
        AddWhat::Vehicle => Listed::Vehicle,
    }
}
