//! One file per verb. Results go to stdout, remarks and progress to stderr; only this module makes exit codes.

mod calibrate;
mod compare;
mod console;
mod corrected;
#[cfg(unix)]
mod demo;
mod drill;
mod ending;
mod exposure;
mod facts;
mod import;
mod live;
mod names;
mod note;
mod papers;
mod ports;
mod record;
mod review;
mod sensor;
mod sheets;
mod shop;
mod simulate;
mod store;
mod thickness;
mod trial;
mod watchers;

use std::{path::Path, process::ExitCode};

use steadypass::results::write_whole;

use crate::cli::{Cli, Verb};
use console::Console;
use ending::Interruptible;

/// How a verb ended when it did not fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Done {
    /// Everything is there.
    Fine,
    /// Finished, but some data was lost; how much has been said.
    WithLosses,
}

/// Why a verb failed.
enum Failure {
    /// The arguments contradict each other or make no sense: exit code 2.
    Usage(String),
    /// Something did not work: exit code 1.
    Failed(miette::Report),
    /// Nobody reads our output any more, as with `| head`: not a failure.
    ClosedPipe,
}

type Outcome = Result<Done, Failure>;

impl From<std::io::Error> for Failure {
    fn from(error: std::io::Error) -> Self {
        if error.kind() == std::io::ErrorKind::BrokenPipe { Self::ClosedPipe } else { Self::failed(error) }
    }
}

impl Failure {
    fn failed(error: impl std::fmt::Display) -> Self {
        Self::Failed(miette::Report::msg(error.to_string()))
    }
}

/// Errors of the library become failures with their own words.
macro_rules! failures_from {
    ($($error:ty),+ $(,)?) => {$(
        impl From<$error> for Failure {
            fn from(error: $error) -> Self {
                Self::failed(error)
            }
        }
    )+};
}
failures_from!(
    steadypass::calibration::CalibrationError,
    steadypass::recording::Error,
    steadypass::replay::ReplayError,
    steadypass::link::LinkError,
    steadypass::results::ResultsError
);

/// The day by this computer's clock and zone.
fn today() -> jiff::civil::Date {
    jiff::ZonedDateTime::now().date()
}

/// A path as text in a result; what is no Unicode in it is replaced, for JSON has no other text.
fn path_text(path: &Path) -> String {
    path.display().to_string()
}

/// Runs the verb and picks the exit code.
pub(crate) fn run(cli: Cli) -> ExitCode {
    let console = Console::new(&cli);
    // Without a listener the system ends the program, as it does where somebody else listens.
    let _interruptible = match cli.verb {
        // They record, and have more to do then.
        Verb::Demo(_) | Verb::Record(_) | Verb::Drill(_) => None,
        Verb::Calibrate(ref args) if args.still_from.is_some() => None,
        _ => Interruptible::in_verb(&console, &cli.typed_verb).ok(),
    };
    let outcome = match cli.verb {
        #[cfg(unix)]
        Verb::Demo(args) => demo::run(&console, &args),
        #[cfg(not(unix))]
        Verb::Demo(_) => Err(Failure::failed(
            "`demo` needs a pseudo-terminal, which this system does not have. `steadypass simulate --kind demo --out DIR` makes \
             the same data; `steadypass import --invented` and `steadypass review` do the rest of the job with it",
        )),
        Verb::Ports => ports::run(&console),
        Verb::Sensor(args) => sensor::run(&console, &args),
        Verb::Record(args) => record::run(&console, &args),
        Verb::Drill(args) => drill::run(&console, &args),
        Verb::Import(args) => import::run(&console, &args),
        Verb::Review(args) => review::run(&console, &args),
        Verb::Exposure(args) => exposure::run(&console, &args),
        Verb::Calibrate(args) => calibrate::run(&console, &args),
        Verb::Shop(args) => shop::run(&console, &args),
        Verb::Compare(args) => compare::run(&console, &args),
        Verb::Trial(args) => trial::run(&console, &args),
        Verb::Note(args) => note::run(&console, &args),
        Verb::Thickness(args) => thickness::run(&console, &args),
        Verb::Report(args) => papers::report(&console, &args),
        Verb::Day(args) => papers::day(&console, &args),
        Verb::Simulate(args) => simulate::run(&console, &args),
    };
    match outcome {
        Ok(Done::Fine) | Err(Failure::ClosedPipe) => ExitCode::SUCCESS,
        Ok(Done::WithLosses) => ExitCode::from(3),
        Err(Failure::Usage(message)) => {
            console.error(&message);
            ExitCode::from(2)
        }
        Err(Failure::Failed(report)) => {
            console.report(&report);
            ExitCode::FAILURE
        }
    }
}
