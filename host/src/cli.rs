//! Arguments as the user types them. What they mean is decided in `commands`.

use std::path::PathBuf;

use clap::{ArgAction, Args, Parser, Subcommand};
use steadypass::{guidance::Units, simulation::DEMO_SPEED};

/// Telemetry for paint correction: how fast the pad and the arm move, how much the panel warms.
///
/// Readings are aids, not safety instruments. Rotating tool, hot surfaces, dust, noise, mains leads, vibration: follow the
/// machine's manual, wear protection, never reach for the sensor with the motor running.
#[derive(Debug, Parser)]
#[command(name = "steadypass", version, propagate_version = true, max_term_width = 100)]
#[command(after_help = "Exit codes: 0 fine, 1 failed, 2 wrong arguments, 3 finished but some data was lost.")]
pub(crate) struct Cli {
    #[command(flatten)]
    pub(crate) global: Global,
    #[command(subcommand)]
    pub(crate) verb: Verb,
}

/// Options of every verb.
#[derive(Debug, Args)]
pub(crate) struct Global {
    /// Units on screen and on drawings: si (mm/s, °C, K) or us (in/s, °F). Files stay SI. Default: the plan's.
    #[arg(long, global = true, value_name = "si|us")]
    pub(crate) units: Option<Units>,
    /// Print results as JSON.
    #[arg(long, global = true)]
    pub(crate) json: bool,
    /// Say more; twice for all there is.
    #[arg(short, long, global = true, action = ArgAction::Count)]
    pub(crate) verbose: u8,
    /// Say less: no progress, no remarks; errors and results stay.
    #[arg(short, long, global = true, conflicts_with = "verbose")]
    pub(crate) quiet: bool,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Verb {
    /// The whole job with no hardware: a virtual polisher and sensor (invented data), recorded and reviewed.
    Demo(DemoArgs),
    /// Lists serial ports, the likely sensor marked.
    Ports,
    /// Records from the sensor, with live warnings, until Ctrl-C.
    Record(RecordArgs),
    /// Turns a sensor table (CSV) of another logger into a recording.
    Import(ImportArgs),
    /// Recomputes everything from recordings: a drawing per section pass, tables, one page.
    Review(ReviewArgs),
    /// Writes a table of invented sensor data with its truth, to learn and to check with.
    Simulate(SimulateArgs),
}

/// Who, what with, on what.
#[derive(Clone, Debug, Default, Args)]
pub(crate) struct FactArgs {
    /// Plan: limits, targets, machine (see data/plans/example.toml).
    #[arg(long, value_name = "FILE")]
    pub(crate) plan: Option<PathBuf>,
    /// Who works. Default: the plan's.
    #[arg(long, value_name = "NAME")]
    pub(crate) technician: Option<String>,
    /// What is worked on. Default: the plan's.
    #[arg(long, value_name = "TEXT")]
    pub(crate) panel: Option<String>,
}

#[derive(Debug, Args)]
#[command(after_help = "Example:\n  steadypass demo\n  steadypass demo --out ~/look --speed 4")]
pub(crate) struct DemoArgs {
    /// Folder for the recording and the review.
    #[arg(long, value_name = "DIR", default_value = "steadypass-demo")]
    pub(crate) out: PathBuf,
    /// How much faster than real time the virtual sensor works, 0.5 to 20.
    #[arg(long, default_value_t = DEMO_SPEED, value_name = "FACTOR")]
    pub(crate) speed: f64,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass record --plan data/plans/example.toml --technician Robin\n  \
                        steadypass record --port /dev/ttyACM0 --out door.mcap --seconds 120")]
pub(crate) struct RecordArgs {
    /// The sensor's port. Default: the only one that says it is a sensor.
    #[arg(long, value_name = "PORT")]
    pub(crate) port: Option<String>,
    /// Recording to write. Default: recordings/DATE_TIME.mcap.
    #[arg(long, value_name = "FILE.mcap")]
    pub(crate) out: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) facts: FactArgs,
    /// Stop by itself after this long.
    #[arg(long, value_name = "S")]
    pub(crate) seconds: Option<f64>,
    /// Also write the tables that the live analysis found (the same files as `review`).
    #[arg(long, value_name = "DIR")]
    pub(crate) tables: Option<PathBuf>,
    /// Do not review the recording when it ends. Otherwise the review goes beside it, into NAME.review/.
    #[arg(long)]
    pub(crate) no_review: bool,
}

#[derive(Debug, Args)]
#[command(after_help = "Example:\n  steadypass import other-logger.csv --out door.mcap\n\n\
                        Columns (header required; gyro and temperature may be missing, extra ones are ignored):\n  \
                        t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2,gyro_x_radps,gyro_y_radps,gyro_z_radps,surface_c,ambient_c")]
pub(crate) struct ImportArgs {
    /// The table.
    pub(crate) table: PathBuf,
    /// Recording to write. Default: the table's name with .mcap.
    #[arg(long, value_name = "FILE.mcap")]
    pub(crate) out: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) facts: FactArgs,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass review door.mcap --out door-review\n  \
                        steadypass review door.mcap --out door-review --stroke-length-m 0.40")]
pub(crate) struct ReviewArgs {
    /// Recordings (.mcap, or .mcap.part left by a crash).
    #[arg(required = true)]
    pub(crate) recordings: Vec<PathBuf>,
    /// Folder for the results; with several recordings, one folder in it for each.
    #[arg(long, value_name = "DIR")]
    pub(crate) out: PathBuf,
    /// Plan to judge by. Default: the one in the recording.
    #[arg(long, value_name = "FILE")]
    pub(crate) plan: Option<PathBuf>,
    /// Travel of one stroke, where it is known (a taped section).
    #[arg(long, value_name = "M")]
    pub(crate) stroke_length_m: Option<f64>,
    /// Tables only, no drawings and no page.
    #[arg(long)]
    pub(crate) no_sheets: bool,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass simulate --kind upright --seed 7 --out practice\n  \
                        steadypass simulate --kind hour --out practice")]
pub(crate) struct SimulateArgs {
    /// What to draw parameters for; `list` names the kinds.
    #[arg(long, default_value = "demo")]
    pub(crate) kind: String,
    /// Same seed, same data.
    #[arg(long, default_value_t = 1)]
    pub(crate) seed: u64,
    /// Folder for KIND-SEED.csv and KIND-SEED.truth.json.
    #[arg(long, value_name = "DIR")]
    pub(crate) out: PathBuf,
}
