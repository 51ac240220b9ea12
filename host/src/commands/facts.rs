//! Plan and session facts from arguments.

use std::path::Path;

use miette::{LabeledSpan, MietteDiagnostic, NamedSource, Report};
use steadypass::{
    guidance::{Plan, PlanError, plan::Source as PlanSource},
    recording::{Facts, Source, start_text},
    shop::{Shop, fill::About},
};

use super::{Console, Failure, store};
use crate::cli::FactArgs;

/// The plan named, or common practice.
pub(super) fn load_plan(path: Option<&Path>) -> Result<Plan, Failure> {
    path.map_or_else(|| Ok(Plan::default()), |path| Plan::load(path).map_err(|e| plan_failure(&e)))
}

/// The plan inside a recording, or common practice; `instead` says what the user can do where it cannot be read.
pub(super) fn plan_of(console: &Console, recording: &Path, facts: &Facts, instead: &str) -> Plan {
    if facts.plan.is_empty() {
        return Plan::default();
    }
    let name = format!("plan inside {}", recording.display());
    let mut plan = Plan::from_toml(&PlanSource::new(&name, &facts.plan)).unwrap_or_else(|error| {
        console.remark(&format!("{error}. Judging by common practice instead{instead}."));
        Plan::default()
    });
    plan.machine_told &= facts.machine_told();
    plan
}

/// What a plan does not tell of the machine, from the shop that the work is filed in, where that is known to have been with one of
/// its machines; whether it is.
pub(super) fn machine_on_file(
    console: &Console,
    shop: &Shop,
    about: &About,
    recording: Option<(&str, &Facts)>,
    plan: &mut Plan,
) -> Result<bool, Failure> {
    let Some(machine) = shop.machine_for(about, recording).map_err(store::of(shop.folder()))? else { return Ok(false) };
    machine.complete(plan).iter().for_each(|remark| console.remark(remark));
    Ok(true)
}

/// A plan's error with the spot underlined.
pub(super) fn plan_failure(error: &PlanError) -> Failure {
    let Some(place) = error.place() else {
        return Failure::Failed(Report::new(MietteDiagnostic::new(error.to_string()).with_help(error.help())));
    };
    let label = LabeledSpan::new_with_span(Some("here".into()), place.span.clone());
    let diagnostic = MietteDiagnostic::new(error.to_string()).with_help(error.help()).with_label(label);
    let source = NamedSource::new(&place.source.name, place.source.text.to_string());
    Failure::Failed(Report::new(diagnostic).with_source_code(source))
}

/// The machine in words, for titles.
pub(super) fn machine_text(plan: &Plan) -> String {
    use steadypass::analysis::MachineKind;
    let machine = &plan.machine;
    let pad = format!("{:.0} mm pad", machine.pad_diameter_mm);
    let kind = match (machine.kind, machine.throw_mm) {
        (MachineKind::Orbital, Some(throw)) => format!("orbital {throw:.0} mm, {pad}"),
        (MachineKind::Orbital, None) => format!("orbital, {pad}"),
        (MachineKind::Rotary, _) => format!("rotary, {pad}"),
    };
    let words = |text: &str| -> Vec<String> {
        text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).map(str::to_lowercase).collect()
    };
    let says_all = |name: &str| {
        let said = words(name);
        words(&kind).iter().all(|word| said.contains(word))
    };
    match &machine.name {
        Some(name) if says_all(name) => name.clone(),
        Some(name) if !plan.machine_told => format!("{name} ({kind}{})", Facts::ASSUMED),
        Some(name) => format!("{name} ({kind})"),
        None if !plan.machine_told => format!("machine not told: {kind}{}", Facts::ASSUMED),
        None => kind,
    }
}

/// Facts at the start of a recording.
pub(super) fn facts(args: &FactArgs, plan: &Plan, source: Source, origin: &str) -> Facts {
    Facts {
        technician: args.technician.clone().or_else(|| plan.technician.clone()).unwrap_or_default(),
        panel: args.panel.clone().or_else(|| plan.panel.clone()).unwrap_or_default(),
        machine: machine_text(plan),
        plan: plan.to_toml(),
        source,
        origin: origin.to_owned(),
        program: env!("CARGO_PKG_VERSION").to_owned(),
        started: start_text(&jiff::ZonedDateTime::now()),
        ..Facts::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_machine_that_is_told_is_not_called_assumed_whichever_it_is() {
        let told = "[machine]\nkind = \"orbital\"\nthrow_mm = 15\npad_diameter_mm = 125\n";
        for (plan, text) in
            [("", "machine not told: orbital 15 mm, 125 mm pad assumed"), (told, "orbital 15 mm, 125 mm pad")]
        {
            let plan = Plan::from_toml(&PlanSource::new("plan.toml", plan)).expect("a plan");
            assert_eq!(machine_text(&plan), text);
        }
    }

    #[test]
    fn a_machine_is_described_once() {
        let named = |name: &str| {
            let mut plan = Plan { machine_told: true, ..Plan::default() };
            plan.machine.name = Some(name.to_owned());
            machine_text(&plan)
        };
        assert_eq!(named("generic 15 mm orbital, 125 mm pad"), "generic 15 mm orbital, 125 mm pad");
        assert_eq!(named("machine 2"), "machine 2 (orbital 15 mm, 125 mm pad)");
        assert_eq!(named("old one, 125 mm pad"), "old one, 125 mm pad (orbital 15 mm, 125 mm pad)");
        assert_eq!(named("old orbital, 115 mm throw, 125 mm pad").matches("orbital 15 mm").count(), 1);
        assert_eq!(machine_text(&Plan::default()), "machine not told: orbital 15 mm, 125 mm pad assumed");
    }
}
