//! `drill`: pace practice. A recording like any other, with the goal as its plan, and a result beside it.

use steadypass::{
    live::drill::{DrillResult, Goal},
    recording::Source,
};

use super::{
    Console, Done, Failure, Outcome, facts,
    live::Live,
    record::{Job, REVIEWED, Until, default_name, record},
};
use crate::cli::DrillArgs;

pub(super) fn run(console: &Console, args: &DrillArgs) -> Outcome {
    let mut plan = facts::load_plan(args.facts.plan.as_deref())?;
    let stroke_m = args.stroke_m.or(plan.stroke_length_m);
    let goal = Goal { pace_mm_s: args.pace_mm_s, within_mm_s: args.within_mm_s, stroke_m, strokes: args.strokes };
    if let Some(fault) = goal.fault() {
        return Err(Failure::Usage(fault));
    }
    plan.pace_mm_s = goal.band_mm_s();
    plan.stroke_length_m = stroke_m;
    let out = args.out.clone().unwrap_or_else(|| default_name("_drill"));
    if out.extension().is_none_or(|e| e != "mcap") {
        return Err(Failure::Usage(format!("--out {}: a recording's name ends in .mcap", out.display())));
    }
    // Said before the work, not after it.
    if let Some(taken) = DrillResult::files_beside(&out).into_iter().find(|file| file.exists()) {
        return Err(Failure::failed(format!(
            "{} exists already: move it away, or choose another --out",
            taken.display()
        )));
    }
    let facts = facts::facts(&args.facts, &plan, Source::Sensor, args.port.as_deref().unwrap_or_default());
    let (started, technician) = (facts.started.clone(), facts.technician.clone());
    let units = console.units(plan.units);
    console.remark(&format!(
        "Practice: {} strokes at {}{}. Machine running, on a panel that may be worked or a practice board.",
        goal.strokes,
        units.arm_speed_within(goal.pace_mm_s / 1e3, goal.within_mm_s / 1e3),
        stroke_m.map(|m| format!(", {} each", units.length(m))).unwrap_or_default()
    ));
    let live =
        Live::new(console, plan, None)?.with_model(|model| model.with_aim(goal.strokes), &technician).keep_strokes();
    let job = Job {
        port: args.port.as_deref(),
        out: &out,
        facts,
        until: Until::Strokes(goal.strokes),
        calibration: args.calibration.as_deref(),
        then: REVIEWED,
    };
    let recorded = record(console, job, live, &args.watch)?;
    let result = DrillResult::of(&started, &technician, goal, &recorded.strokes);
    let earlier = result.earlier(out.parent().unwrap_or(std::path::Path::new(".")));
    let written = result.write_beside(&out)?;
    if console.json {
        console.result(&serde_json::to_string_pretty(&result).map_err(Failure::failed)?)?;
    } else {
        for line in result.words(&earlier, units) {
            console.result(&line)?;
        }
    }
    for path in written {
        console.remark(&path.display().to_string());
    }
    Ok(if result.known < goal.strokes { Done::WithLosses } else { recorded.done })
}
