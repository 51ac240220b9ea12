//! `import`: a sensor table of another logger becomes a recording.

use steadypass::{
    drawing::units::duration,
    guidance::units::count,
    name,
    recording::{Source, import_table, start_text},
};

use super::{Console, Done, Failure, Outcome, facts, path_text};
use crate::cli::ImportArgs;

pub(super) fn run(console: &Console, args: &ImportArgs) -> Outcome {
    let plan = facts::load_plan(args.facts.plan.as_deref())?;
    // A folder or a path such as `..` has no name to make a recording's of.
    if args.out.is_none() && (args.table.is_dir() || args.table.file_name().is_none()) {
        return Err(Failure::Usage(format!(
            "{}: this is a folder; name the table in it, as in steadypass import {}",
            args.table.display(),
            name::path_word(&args.table.join("TABLE.csv"))
        )));
    }
    let out = args.out.clone().unwrap_or_else(|| args.table.with_extension("mcap"));
    if out.extension().is_none_or(|e| e != "mcap") {
        return Err(Failure::Usage(format!("--out {}: a recording's name ends in .mcap", out.display())));
    }
    let source = if args.invented { Source::Simulation } else { Source::Table };
    let mut facts = facts::facts(&args.facts, &plan, source, &args.table.display().to_string());
    if let Some(started) = &args.started {
        facts.started = start_text(started);
    }
    let bytes = std::fs::metadata(&args.table).map_or(0, |m| m.len());
    let bar = console.progress("importing", bytes);
    let result = import_table(&args.table, &out, &facts, &args.mark_at, |at| bar.set_position(at));
    bar.finish_and_clear();
    let summary = result?;
    let remarks = summary.remarks();
    remarks.iter().for_each(|words| console.remark(words));
    if console.json {
        let result = serde_json::json!({
            "recording": path_text(&out), "rows": summary.rows, "seconds": summary.seconds, "samples_lost": summary.lost,
            "marks": summary.marks, "remarks": remarks,
        });
        console.result(&result.to_string())?;
    } else {
        let marks = match summary.marks {
            0 => String::new(),
            n => format!(", {}", count(n, "mark", "marks")),
        };
        let length = duration(summary.seconds);
        console.result(&format!("{}: {} rows, {length}{marks}", out.display(), summary.rows))?;
    }
    if summary.lost == 0 {
        return Ok(Done::Fine);
    }
    console.remark(&format!("{} samples are missing, judged by the time steps; the holes are kept.", summary.lost));
    Ok(Done::WithLosses)
}
