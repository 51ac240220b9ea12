//! `simulate`: invented sensor data with its truth, to learn and to check with.

use std::{
    fs::{self, File},
    io::BufWriter,
};

use steadypass::{
    recording::describe_io,
    simulation::{Kind, Ranges, Scenario, random, write_table},
};

use super::{Console, Done, Failure, Outcome};
use crate::cli::SimulateArgs;

pub(super) fn run(console: &Console, args: &SimulateArgs) -> Outcome {
    let kinds: Vec<&str> = ["demo", "hour"].into_iter().chain(Kind::ALL.iter().map(|k| k.as_str())).collect();
    if args.kind == "list" {
        console.result(&kinds.join("\n"))?;
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
    fs::create_dir_all(out).map_err(failed)?;
    let stem = format!("{}-{}", args.kind, args.seed);
    let (table, truth) = (out.join(format!("{stem}.csv")), out.join(format!("{stem}.truth.json")));
    // Written under another name first, so that a table cut short by a full disk is never taken for a whole one.
    let unfinished = out.join(format!("{stem}.csv.part"));
    let written = File::create(&unfinished)
        .map_err(failed)
        .and_then(|file| write_table(&scenario, BufWriter::new(file)).map_err(Failure::failed));
    let told = match written {
        Ok(told) => told,
        Err(error) => {
            let _ = fs::remove_file(&unfinished);
            return Err(error);
        }
    };
    fs::rename(&unfinished, &table).map_err(failed)?;
    told.write_json(&scenario, BufWriter::new(File::create(&truth).map_err(failed)?)).map_err(failed)?;
    console
        .remark("Invented data, from a virtual machine; `steadypass import` with --invented makes every sheet say so.");
    console.result(&format!("{}\n{}", table.display(), truth.display()))?;
    Ok(Done::Fine)
}
