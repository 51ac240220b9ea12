//! `import`: a sensor table of another logger becomes a recording.

use steadypass::recording::{Source, import_table};

use super::{Console, Done, Failure, Outcome, facts};
use crate::cli::ImportArgs;

/// What a second's mean may be with gravity in it, m/s²: an uncalibrated chip is a few percent off, a cheap one more.
const GRAVITY_MPS2: std::ops::RangeInclusive<f64> = 8.5..=11.5;

pub(super) fn run(console: &Console, args: &ImportArgs) -> Outcome {
    let plan = facts::load_plan(args.facts.plan.as_deref())?;
    let out = args.out.clone().unwrap_or_else(|| args.table.with_extension("mcap"));
    if out.extension().is_none_or(|e| e != "mcap") {
        return Err(Failure::Usage(format!("--out {}: a recording's name ends in .mcap", out.display())));
    }
    let source = if args.invented { Source::Simulation } else { Source::Table };
    let facts = facts::facts(&args.facts, &plan, source, &args.table.display().to_string());
    let bytes = std::fs::metadata(&args.table).map_or(0, |m| m.len());
    let bar = console.progress("importing", bytes);
    let result = import_table(&args.table, &out, &facts, |at| bar.set_position(at));
    bar.finish_and_clear();
    let summary = result?;
    if let Some(steady) = summary.steady_mps2.filter(|size| !GRAVITY_MPS2.contains(size)) {
        console.remark(&format!(
            "Over a second the acceleration averages {steady:.2} m/s², where gravity alone makes 9.8. If the table is in g, \
             multiply by 9.80665 and import again; if its logger takes gravity out, arm speed stays blank or wrong."
        ));
    }
    if !summary.has_gyro {
        console.remark("No gyro readings: arm speed stays blank where it cannot be told without them.");
    }
    if !summary.has_surface {
        console.remark("No surface temperatures: heat stays blank.");
    }
    if console.json {
        let result = serde_json::json!({
            "recording": out, "rows": summary.rows, "seconds": summary.seconds, "samples_lost": summary.lost,
        });
        console.result(&result.to_string())?;
    } else {
        console.result(&format!("{}: {} rows, {:.1} s", out.display(), summary.rows, summary.seconds))?;
    }
    if summary.lost == 0 {
        return Ok(Done::Fine);
    }
    console.remark(&format!("{} samples are missing, judged by the time steps; the holes are kept.", summary.lost));
    Ok(Done::WithLosses)
}
