//! `drill`: pace practice. A recording like any other, with the goal as its plan, and a result beside it; or its rehearsal with a
//! virtual sensor, of which nothing is kept.

#[cfg(unix)]
use steadypass::simulation::Scenario;
use steadypass::{
    live::drill::{DrillResult, Goal},
    recording::Source,
};

#[cfg(unix)]
use super::demo::Stand;
use super::{
    Console, Done, Failure, Outcome, facts,
    live::Live,
    record::{Job, REVIEWED, Until, default_name, record},
};
use crate::cli::DrillArgs;

/// Who works in a rehearsal.
const REHEARSAL: &str = "Rehearsal, invented";

pub(super) fn run(console: &Console, args: &DrillArgs) -> Outcome {
    let mut plan = facts::load_plan(args.facts.plan.as_deref())?;
    let stroke_m = args.stroke_length.or(args.stroke_m).or(plan.stroke_length_m);
    let goal = Goal {
        pace_mm_s: args.pace.unwrap_or(args.pace_mm_s),
        within_mm_s: args.within.unwrap_or(args.within_mm_s),
        stroke_m,
        strokes: args.strokes,
    };
    if let Some(fault) = goal.fault() {
        return Err(Failure::Usage(fault));
    }
    plan.pace_mm_s = goal.band_mm_s();
    plan.stroke_length_m = stroke_m;
    let stand = args.rehearse.then(|| rehearsal(goal)).transpose()?;
    let out = match &stand {
        Some(stand) => stand.folder().join("rehearsal.mcap"),
        None => args.out.clone().unwrap_or_else(|| default_name("_drill")),
    };
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
    let port = stand.as_ref().map(Stand::name).or(args.port.clone());
    let source = if stand.is_some() { Source::Simulation } else { Source::Sensor };
    let mut facts = facts::facts(&args.facts, &plan, source, port.as_deref().unwrap_or_default());
    if stand.is_some() {
        // Shown as long as it goes on.
        facts.technician = REHEARSAL.to_owned();
    }
    let (started, technician) = (facts.started.clone(), facts.technician.clone());
    let units = console.units(plan.units);
    let (kind, how) = match stand {
        Some(_) => ("Rehearsal", "All of it is invented, from a virtual sensor; nothing is kept."),
        None => ("Practice", "Machine running, on a panel that may be worked or a practice board."),
    };
    let to_do = format!(
        "{kind}: {} strokes at {}{}. {how}",
        goal.strokes,
        units.arm_speed_within(goal.pace_mm_s / 1e3, goal.within_mm_s / 1e3),
        stroke_m.map(|m| format!(", {} each", units.length(m))).unwrap_or_default()
    );
    let live =
        Live::new(console, plan, None)?.with_model(|model| model.with_aim(goal.strokes), &technician).keep_strokes();
    let job = Job {
        port: port.as_deref(),
        out: &out,
        facts,
        until: Until::Strokes(goal.strokes),
        calibration: args.calibration.as_deref(),
        then: REVIEWED,
        to_do: &to_do,
    };
    let recorded = record(console, job, live, &args.watch)?;
    let result = DrillResult::of(&started, &technician, goal, &recorded.strokes);
    let earlier = result.earlier(out.parent().unwrap_or(std::path::Path::new(".")));
    let written = if stand.is_some() { Vec::new() } else { result.write_beside(&out)?.to_vec() };
    if console.json {
        console.result(&serde_json::to_string_pretty(&result).map_err(Failure::failed)?)?;
    } else {
        for line in result.words(stand.is_none().then_some(earlier.as_slice()), units) {
            console.result(&line)?;
        }
    }
    if stand.is_some() {
        console.remark("That was a rehearsal: invented data, nothing kept.");
    }
    for path in written {
        console.remark(&path.display().to_string());
    }
    Ok(if result.known < goal.strokes { Done::WithLosses } else { recorded.done })
}

/// The demo's panel and machine under strokes at the goal's pace, one of them hurried; more of them than the goal asks for, for it is
/// the drill that says when there are enough.
#[cfg(unix)]
fn rehearsal(goal: Goal) -> Result<Stand, Failure> {
    const IN_A_PASS: u32 = 10;
    const PASSES: u32 = 20;
    if goal.strokes > PASSES * IN_A_PASS / 2 {
        return Err(Failure::Usage(format!(
            "--strokes {}: up to {} can be rehearsed",
            goal.strokes,
            PASSES * IN_A_PASS / 2
        )));
    }
    let mut scenario = Scenario::demo();
    scenario.name = "rehearsal".into();
    scenario.arm.traverse_mps = goal.pace_mm_s / 1e3;
    scenario.arm.stroke_m = goal.stroke_m.unwrap_or(scenario.arm.stroke_m);
    scenario.arm.strokes_per_pass = IN_A_PASS;
    scenario.arm.step_m = 0.05;
    scenario.arm.pass_axes = (0..PASSES).map(|pass| (pass % 2) as u8).collect();
    scenario.arm.pace = vec![1.0, 1.0, 1.5];
    // The pace is what is practised: heat is not to drown it out.
    scenario.heat.pad_power_w = 5.0;
    scenario.heat.power = Vec::new();
    Stand::of(&scenario, 1.0)
}

#[cfg(not(unix))]
enum Stand {}

#[cfg(not(unix))]
impl Stand {
    fn name(&self) -> String {
        match *self {}
    }

    fn folder(&self) -> &std::path::Path {
        match *self {}
    }
}

#[cfg(not(unix))]
fn rehearsal(_: Goal) -> Result<Stand, Failure> {
    Err(Failure::failed("a rehearsal needs a pseudo-terminal, which this system does not have"))
}
