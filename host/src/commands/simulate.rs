//! `simulate`: invented sensor data with its truth, to learn and to check with.

use std::{fs::File, io::BufWriter, path::PathBuf};

use steadypass::{
    recording::describe_io,
    replaced::refuse_other_than,
    simulation::{Kind, Ranges, Scenario, random, write_table},
    unfinished::Unfinished,
};

use super::{Console, Done, Failure, Outcome, path_text};
use crate::cli::SimulateArgs;

pub(super) fn run(console: &Console, args: &SimulateArgs) -> Outcome {
    let kinds: Vec<&str> = ["demo", "hour"].into_iter().chain(Kind::ALL.iter().map(|k| k.as_str())).collect();
    if args.kind == "list" {
        console.result(&if console.json {
            serde_json::json!({ "kinds": kinds }).to_string()
        } else {
            kinds.join("\n")
        })?;
        return Ok(Done::Fine);
    }
    let scenario = match args.kind.as_str() {
        "demo" => Scenario { seed: args.seed, ..Scenario::demo() },
        "hour" => Scenario { seed: args.seed, ..Scenario::hour() },
        other => match Kind::ALL.iter().find(|k| k.as_str() == other) {
            Some(kind) => random(args.seed, &Ranges::of(*kind)),
            None => return Err(Failure::Usage(format!("--kind {other}: choose one of {}", kinds.join(", ")))),
        },
    };
    let Some(out) = &args.out else {
        return Err(Failure::Usage("--out DIR: give a folder for the table and its truth".into()));
    };
    let failed =
        |e: std::io::Error| Failure::failed(format!("cannot write into {}: {}", out.display(), describe_io(&e)));
    let unfinished = Unfinished::within(out).map_err(failed)?;
    let new = |name: &str| File::create(unfinished.folder().join(name)).map(BufWriter::new).map_err(failed);
    let [table, truth] = ["csv", "truth.json"].map(|kind| format!("{}-{}.{kind}", args.kind, args.seed));
    let told = write_table(&scenario, new(&table)?).map_err(Failure::failed)?;
    told.write_json(&scenario, new(&truth)?).map_err(failed)?;
    for name in [&table, &truth] {
        let place = out.join(name);
        refuse_other_than(&place, &unfinished.folder().join(name))
            .map_err(|e| Failure::failed(format!("cannot write {}: {}", place.display(), describe_io(&e))))?;
    }
    let written = unfinished.place_all(&[table, truth], out).map_err(failed)?;
    console
        .remark("Invented data, from a virtual machine; `steadypass import` with --invented makes every sheet say so.");
    if console.json {
        let text = |path: &PathBuf| path_text(path);
        let result = serde_json::json!({
            "kind": args.kind, "seed": args.seed, "invented": true, "table": written.first().map(text),
            "truth": written.last().map(text),
        });
        console.result(&result.to_string())?;
        return Ok(Done::Fine);
    }
    for path in written {
        console.result(&path.display().to_string())?;
    }
    Ok(Done::Fine)
}
