//! `import`: a sensor table of another logger becomes a recording.

use steadypass::{
    analysis::LEAST_STREAM_HZ,
    drawing::units::duration,
    recording::{ImportSummary, Source, import_table, start_text},
};

use super::{Console, Done, Failure, Outcome, facts, path_text};
use crate::cli::ImportArgs;

/// What a second's mean may be with gravity in it, m/s²: an uncalibrated chip is a few percent off, a cheap one more.
const GRAVITY_MPS2: std::ops::RangeInclusive<f64> = 8.5..=11.5;

/// Rows a second below which no machine's vibration can be read.
const FEWEST_PER_S: f64 = 20.0;
/// A hand turns a machine less than this on average, rad/s: 40 degrees a second.
const TURNING_RADPS: f64 = 0.7;
/// Panels are cooler than this when work begins, °C; in °F it is a cool day.
const START_C: f64 = 60.0;

/// What looks as if it were in another unit.
fn doubts(summary: &ImportSummary) -> Vec<String> {
    let mut out = Vec::new();
    let per_s = summary.rows as f64 / summary.seconds.max(f64::MIN_POSITIVE);
    if per_s < FEWEST_PER_S {
        out.push(format!(
            "Only {per_s:.1} rows a second: too few for any rate. If the times are in ms, divide them by 1000 and import again."
        ));
    }
    if (FEWEST_PER_S..LEAST_STREAM_HZ).contains(&per_s) {
        out.push(format!(
            "{per_s:.0} rows a second: too few to see the pad go round, which takes {LEAST_STREAM_HZ}. Orbit rate and pad speed stay blank, \
             and whether the motor ran is not known."
        ));
    }
    if let Some(steady) = summary.steady_mps2.filter(|size| !GRAVITY_MPS2.contains(size)) {
        out.push(format!(
            "Over a second the acceleration averages {steady:.2} m/s², where gravity alone makes 9.8. If the table is in g, \
             multiply by 9.80665 and import again; if its logger takes gravity out, arm speed stays blank or wrong."
        ));
    }
    if let Some(turning) = summary.steady_radps.filter(|rate| *rate > TURNING_RADPS) {
        out.push(format!(
            "The machine turns by {turning:.1} rad/s on average, faster than hands do. If the table is in degrees a second, multiply \
             by 0.0174533 and import again."
        ));
    }
    if let Some(start) = summary.first_surface_c.filter(|c| *c > START_C) {
        out.push(format!(
            "The panel is at {start:.0} °C at the start. If the table is in °F, take 32 off, multiply by 5/9 and import again."
        ));
    }
    out
}

pub(super) fn run(console: &Console, args: &ImportArgs) -> Outcome {
    let plan = facts::load_plan(args.facts.plan.as_deref())?;
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
    let result = import_table(&args.table, &out, &facts, |at| bar.set_position(at));
    bar.finish_and_clear();
    let summary = result?;
    doubts(&summary).iter().for_each(|doubt| console.remark(doubt));
    if !summary.has_gyro {
        console.remark("No gyro readings: arm speed stays blank where it cannot be told without them.");
    }
    if !summary.has_surface {
        console.remark("No surface temperatures: heat stays blank.");
    }
    if console.json {
        let result = serde_json::json!({
            "recording": path_text(&out), "rows": summary.rows, "seconds": summary.seconds, "samples_lost": summary.lost,
        });
        console.result(&result.to_string())?;
    } else {
        console.result(&format!("{}: {} rows, {}", out.display(), summary.rows, duration(summary.seconds)))?;
    }
    if summary.lost == 0 {
        return Ok(Done::Fine);
    }
    console.remark(&format!("{} samples are missing, judged by the time steps; the holes are kept.", summary.lost));
    Ok(Done::WithLosses)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_that_hands_and_panels_cannot_have_are_doubted() {
        let good = ImportSummary {
            rows: 10_000,
            seconds: 10.0,
            steady_mps2: Some(9.8),
            steady_radps: Some(0.05),
            first_surface_c: Some(24.0),
            ..ImportSummary::default()
        };
        let said = |summary: ImportSummary| doubts(&summary).join(" ");
        assert_eq!(said(good), "");
        for (summary, word) in [
            (ImportSummary { seconds: 10_000.0, ..good }, "in ms"),
            (ImportSummary { steady_mps2: Some(1.0), ..good }, "in g"),
            (ImportSummary { steady_radps: Some(3.0), ..good }, "degrees a second"),
            (ImportSummary { first_surface_c: Some(79.5), ..good }, "in °F"),
        ] {
            assert!(said(summary).contains(word), "{word}: {}", said(summary));
            assert_eq!(doubts(&summary).len(), 1);
        }
    }
}
