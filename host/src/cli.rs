//! Arguments as the user types them. What they mean is decided in `commands`.

pub(crate) mod shop;
mod values;
pub(crate) mod work;

use std::{io::Write as _, net::IpAddr, path::PathBuf};

use clap::{
    Arg, ArgAction, ArgMatches, Args, Command, CommandFactory as _, FromArgMatches as _, Parser, Subcommand,
    parser::ValueSource,
};
use shop::{FileArgs, ShopArgs};
use steadypass::{guidance::Units, name, shop::day_of, simulation::DEMO_SPEED};
use values::{a_length_m, a_number, a_port_number, a_speed_mm_s, a_time_s, a_whole_number_within, an_address};
pub(crate) use values::{a_whole_number, film_um};
use work::{CompareArgs, DayArgs, NoteArgs, ReportArgs, ThicknessArgs, TrialArgs};

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
    /// The verb as it was typed, with the one under it.
    #[arg(skip)]
    pub(crate) typed_verb: String,
    /// The shop that the verb works with, or else the one that the environment names.
    #[arg(skip)]
    pub(crate) shop: Option<PathBuf>,
}

impl Cli {
    /// What was typed; ends the program where that makes no sense, or where help was asked for.
    pub(crate) fn typed() -> Self {
        Self::of(std::env::args_os()).unwrap_or_else(|error| {
            let said = error.render().to_string();
            // In the words that the program's own errors begin with.
            match said.strip_prefix("error: ") {
                Some(wrong) => {
                    let _ = write!(std::io::stderr().lock(), "steadypass: {wrong}");
                    std::process::exit(error.exit_code())
                }
                None => error.exit(),
            }
        })
    }

    fn of(words: impl IntoIterator<Item = impl Into<std::ffi::OsString> + Clone>) -> Result<Self, clap::Error> {
        let mut command = passing_over_empty_variables(taking_negative_numbers(Self::command()));
        let matches = command.try_get_matches_from_mut(words)?;
        let mut cli = Self::from_arg_matches(&matches).map_err(|error| error.format(&mut command))?;
        let is_usual = match &mut cli.verb {
            Verb::Exposure(args) => Some(&mut args.shop_is_usual),
            Verb::Record(args) => Some(&mut args.file.shop_is_usual),
            Verb::Review(args) => Some(&mut args.file.shop_is_usual),
            _ => None,
        };
        if let (Some(is_usual), Some((_, typed))) = (is_usual, matches.subcommand()) {
            *is_usual = typed.value_source("shop") == Some(ValueSource::EnvVariable);
        }
        let usual = || std::env::var_os(SHOP_VARIABLE).filter(|folder| !folder.is_empty()).map(PathBuf::from);
        Ok(Self { typed_verb: verbs(&matches).join(" "), shop: shop_of(&matches).or_else(usual), ..cli })
    }
}

/// The verb, and the one under it where it has any.
fn verbs(matches: &ArgMatches) -> Vec<&str> {
    matches.subcommand().map_or(Vec::new(), |(verb, under)| [vec![verb], verbs(under)].concat())
}

/// Names the shop for every verb.
pub(crate) const SHOP_VARIABLE: &str = "STEADYPASS_SHOP";

/// The shop of a verb that takes one.
fn shop_of(matches: &ArgMatches) -> Option<PathBuf> {
    let own = matches.try_get_one::<PathBuf>("shop").ok().flatten().cloned();
    own.or_else(|| matches.subcommand().and_then(|(_, under)| shop_of(under)))
}

/// Lets a number below nought be a value of whatever takes one: that it is too small is then said in the verb's own words, where
/// it would be called an unexpected argument otherwise.
fn taking_negative_numbers(command: Command) -> Command {
    command
        .mut_args(|arg| if arg.get_action().takes_values() { arg.allow_negative_numbers(true) } else { arg })
        .mut_subcommands(taking_negative_numbers)
}

/// Takes a variable that is set to nothing for one that is not set, as shells do that cannot unset one for a single command.
fn passing_over_empty_variables(command: Command) -> Command {
    let is_empty = |arg: &Arg| arg.get_env().and_then(std::env::var_os).is_some_and(|value| value.is_empty());
    command
        .mut_args(|arg| if is_empty(&arg) { arg.env(None::<&str>) } else { arg })
        .mut_subcommands(passing_over_empty_variables)
}

/// Heading of what every verb takes, so that it does not stand between a verb's own options in its help.
const GLOBAL: &str = "For every verb";

/// Options of every verb.
#[derive(Debug, Args)]
pub(crate) struct Global {
    /// Units on screen and on drawings: si (mm/s, °C, K) or us (in/s, °F, mil). Files stay SI. Default: the shop's
    /// (`shop set units us`), else the plan's.
    #[arg(long, global = true, help_heading = GLOBAL, value_name = "si|us")]
    pub(crate) units: Option<Units>,
    /// Print results as JSON.
    #[arg(long, global = true, help_heading = GLOBAL)]
    pub(crate) json: bool,
    /// Say more; twice for all there is.
    #[arg(short, long, global = true, help_heading = GLOBAL, action = ArgAction::Count)]
    pub(crate) verbose: u8,
    /// Say less: no progress, no remarks; errors and results stay.
    #[arg(short, long, global = true, help_heading = GLOBAL, conflicts_with = "verbose")]
    pub(crate) quiet: bool,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Verb {
    /// The whole job with no hardware: a virtual polisher and sensor (invented data), recorded and reviewed.
    Demo(DemoArgs),
    /// Lists serial ports, the likely sensor marked.
    #[command(after_help = "Example:\n  steadypass ports")]
    Ports,
    /// What the sensor says of itself; sets its range, light and buzzer; restarts it.
    Sensor(SensorArgs),
    /// Records from the sensor, with live warnings, until Ctrl-C.
    Record(RecordArgs),
    /// Pace practice: so many strokes at one pace, with live feedback and a short result.
    Drill(DrillArgs),
    /// Turns a sensor table (CSV) of another logger into a recording.
    Import(ImportArgs),
    /// Recomputes everything from recordings: a drawing per section pass, tables, one page.
    Review(ReviewArgs),
    /// Hand-arm vibration by technician and day, against action and limit value: a screening figure.
    Exposure(ExposureArgs),
    /// What a sensor's readings are off by: at rest, on its six faces, at known temperatures; and how a field check went.
    Calibrate(CalibrateArgs),
    /// The shop's memory: names, settings, import, export, backup.
    Shop(ShopArgs),
    /// Compares technicians, machines or pads and liquids; shows one technician over time.
    Compare(CompareArgs),
    /// The test spot: what to try on a paint, what came of it, which to keep.
    Trial(TrialArgs),
    /// Notes about a vehicle, a session or a section of it.
    Note(NoteArgs),
    /// Film thickness: readings, removal, and what a metre of rubbing cost.
    Thickness(ThicknessArgs),
    /// For the owner: what was found, what was done, on one page that prints.
    Report(ReportArgs),
    /// What one technician did on one day.
    Day(DayArgs),
    /// Writes a table of invented sensor data with its truth, to learn and to check with.
    Simulate(SimulateArgs),
}

/// A name that goes into recordings, and that plans and the shop take too; an empty one means that it is not told.
fn a_name(text: &str) -> Result<String, String> {
    if text.trim().is_empty() { Ok(String::new()) } else { a_needed_name(text) }
}

/// A name that has to be told.
fn a_needed_name(text: &str) -> Result<String, String> {
    name::checked(text)
        .map(str::to_owned)
        .map_err(|why| format!("expected up to {} characters on one line, found {}", name::MOST_CHARS, why.as_str()))
}

/// A day, as the shop takes it.
fn a_day(text: &str) -> Result<jiff::civil::Date, String> {
    day_of(text).ok_or_else(|| "expected a day as YYYY-MM-DD".to_owned())
}

/// A day of work: up to today by this computer's clock and zone.
fn a_past_day(text: &str) -> Result<jiff::civil::Date, String> {
    past(a_day(text)?, jiff::ZonedDateTime::now().date())
}

/// The year a paint was put on: up to the next model year.
fn a_paint_year(text: &str) -> Result<i64, String> {
    let (year, next) = (a_whole_number::<i64>(text)?, i64::from(jiff::ZonedDateTime::now().year()) + 1);
    if year > next { Err(format!("that is still to come; the next model year is {next}")) } else { Ok(year) }
}

/// The year a paint was put on, or that it is not known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct PaintYear(pub(crate) Option<i64>);

fn a_paint_year_if_any(text: &str) -> Result<PaintYear, String> {
    match text.trim() {
        "" | "unknown" => Ok(PaintYear(None)),
        year => a_paint_year(year).map(|year| PaintYear(Some(year))),
    }
}

fn past(day: jiff::civil::Date, today: jiff::civil::Date) -> Result<jiff::civil::Date, String> {
    if day > today { Err(format!("that is still to come; today is {today}")) } else { Ok(day) }
}

/// A range that the motion chip has.
fn a_range_g(text: &str) -> Result<u8, String> {
    text.parse().ok().filter(|g| matches!(g, 4 | 8 | 16)).ok_or_else(|| "expected 4, 8 or 16".to_owned())
}

/// A moment of local time that is not still to come.
fn a_past_moment(text: &str) -> Result<jiff::ZonedDateTime, String> {
    let expected = || "expected a day and time as YYYY-MM-DDTHH:MM".to_owned();
    let moment: jiff::civil::DateTime = text.parse().map_err(|_| expected())?;
    let moment = existing(moment, jiff::tz::TimeZone::system())?;
    if moment > jiff::ZonedDateTime::now() { Err("that is still to come".to_owned()) } else { Ok(moment) }
}

/// A moment by a zone's clocks; none in the hour that they leave out when they are put forward.
fn existing(moment: jiff::civil::DateTime, zone: jiff::tz::TimeZone) -> Result<jiff::ZonedDateTime, String> {
    let moment = zone.to_ambiguous_zoned_datetime(moment);
    if matches!(moment.offset(), jiff::tz::AmbiguousOffset::Gap { .. }) {
        return Err(
            "there was no such time: that night the clocks were put forward over it; give the time that they showed"
                .to_owned(),
        );
    }
    moment.compatible().map_err(|error| error.to_string())
}

/// Who, what with, on what.
#[derive(Clone, Debug, Default, Args)]
pub(crate) struct FactArgs {
    /// Plan: limits, targets, machine (see data/plans/example.toml).
    #[arg(long, value_name = "FILE")]
    pub(crate) plan: Option<PathBuf>,
    /// Who works. Default: the plan's.
    #[arg(long, value_name = "NAME", value_parser = a_name)]
    pub(crate) technician: Option<String>,
    /// What is worked on. Default: the plan's.
    #[arg(long, value_name = "TEXT", value_parser = a_name)]
    pub(crate) panel: Option<String>,
}

/// Who looks at it while it is recorded.
#[derive(Clone, Debug, Args)]
pub(crate) struct WatchArgs {
    /// Write line by line instead of using the whole screen.
    #[arg(long)]
    pub(crate) plain: bool,
    /// Also show it as a page in a browser on this computer, at http://127.0.0.1:PORT. Default port: 4747.
    #[arg(long, value_name = "PORT", num_args = 0..=1, require_equals = true, value_parser = a_port_number)]
    #[allow(clippy::option_option, reason = "clap's way of saying: a flag with or without a value")]
    pub(crate) page: Option<Option<u16>>,
    /// Show the page to other devices too, at this address of this computer (0.0.0.0: all of them). They need the link with a
    /// code that is shown then. Plain HTTP: others on the network could read along.
    #[arg(long, value_name = "ADDR", value_parser = an_address)]
    pub(crate) listen: Option<IpAddr>,
    /// No tones (key m changes it).
    #[arg(long)]
    pub(crate) no_sound: bool,
    /// Volume of tones, percent.
    #[arg(long, value_name = "PERCENT", default_value_t = 60, value_parser = a_whole_number_within::<u8>(0, 100))]
    pub(crate) volume: u8,
    /// A quiet tick for each inch (25 mm with SI units) at the pace to keep, while the machine runs.
    #[arg(long)]
    pub(crate) beat: bool,
}

impl WatchArgs {
    /// Nobody looks: plain lines and no tones.
    pub(crate) fn nobody() -> Self {
        Self { plain: true, page: None, listen: None, no_sound: true, volume: 0, beat: false }
    }
}

#[derive(Debug, Args)]
#[command(after_help = "Example:\n  steadypass demo\n  steadypass demo --out ~/look --speed 4")]
pub(crate) struct DemoArgs {
    /// Folder for the recording and the review.
    #[arg(long, value_name = "DIR", default_value = "steadypass-demo")]
    pub(crate) out: PathBuf,
    /// How much faster than real time the virtual sensor works, 0.5 to 20.
    #[arg(long, default_value_t = DEMO_SPEED, value_name = "FACTOR", value_parser = a_number)]
    pub(crate) speed: f64,
    #[command(flatten)]
    pub(crate) watch: WatchArgs,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass sensor\n  steadypass sensor --light-percent 20 --buzzer off\n  \
                        steadypass sensor --restart\n\n\
                        Settings last until the sensor restarts or is unplugged. It tells neither its light's brightness nor \
                        whether its buzzer may sound: with every change what is not named goes to its default.")]
pub(crate) struct SensorArgs {
    /// The sensor's port. Default: the only one that says it is a sensor.
    #[arg(long, value_name = "PORT")]
    pub(crate) port: Option<String>,
    #[command(flatten)]
    pub(crate) settings: SettingArgs,
    /// Start the sensor anew and wait until it is back.
    #[arg(long, conflicts_with_all = ["settings", "loader"])]
    pub(crate) restart: bool,
    /// Start the sensor's loader, to copy a new firmware onto it; it is no sensor until that is done.
    #[arg(long, conflicts_with = "settings")]
    pub(crate) loader: bool,
}

/// What can be set in a sensor.
#[derive(Debug, Args)]
#[group(id = "settings", multiple = true)]
pub(crate) struct SettingArgs {
    /// Range of the accelerometer: 4, 8 or 16. What shakes harder is cut off. At the start: 16.
    #[arg(long, value_name = "G", value_parser = a_range_g)]
    pub(crate) accel_range_g: Option<u8>,
    /// Time between two looks of the thermometer, 50 to 1000. At the start: 64. Above 200 heat is not foreseen, above 400 the panel's
    /// rise is not judged.
    #[arg(long, value_name = "MS", value_parser = a_whole_number_within::<u16>(50, 1000))]
    pub(crate) surface_period_ms: Option<u16>,
    /// Brightness of the light. Default: 60.
    #[arg(long, value_name = "PERCENT", value_parser = a_whole_number_within::<u8>(0, 100))]
    pub(crate) light_percent: Option<u8>,
    /// Whether the buzzer may sound. Default: on.
    #[arg(long, value_name = "on|off", hide_possible_values = true)]
    pub(crate) buzzer: Option<Switch>,
}

impl SettingArgs {
    /// Whether anything is to be set.
    pub(crate) fn any(&self) -> bool {
        let Self { accel_range_g, surface_period_ms, light_percent, buzzer } = self;
        accel_range_g.is_some() || surface_period_ms.is_some() || light_percent.is_some() || buzzer.is_some()
    }
}

/// On or off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Switch {
    On,
    Off,
}

impl Switch {
    pub(crate) fn is_on(self) -> bool {
        self == Self::On
    }
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
    #[arg(long, value_name = "S", value_parser = a_number)]
    pub(crate) seconds: Option<f64>,
    /// Also write the tables that the live analysis found (the same files as `review`).
    #[arg(long, value_name = "DIR")]
    pub(crate) tables: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) file: FileArgs,
    /// Do not review the recording when it ends. Otherwise the review goes beside it, into NAME.review/.
    #[arg(long)]
    pub(crate) no_review: bool,
    /// Folder with the sensors' calibrations. Default: the user's own.
    #[arg(long, value_name = "DIR")]
    pub(crate) calibration: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) watch: WatchArgs,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass drill --pace 20mm/s --within 3mm/s --stroke-length 400mm --beat\n  \
                        steadypass drill --pace 0.8in/s --within 0.1in/s --stroke-length 16in\n  \
                        steadypass drill --rehearse --strokes 4 --stroke-length 16in   # no sensor")]
pub(crate) struct DrillArgs {
    /// Arm speed to keep, with its unit, as in 0.8in/s. Default: 20mm/s.
    #[arg(long, value_name = "SPEED", value_parser = a_speed_mm_s)]
    pub(crate) pace: Option<f64>,
    /// How far off it may be, with its unit. Default: 3mm/s.
    #[arg(long, value_name = "SPEED", value_parser = a_speed_mm_s)]
    pub(crate) within: Option<f64>,
    /// Travel of one stroke, between two tapes, with its unit, as in 16in, 400mm or 0.4m. Without it speeds are less certain. Default:
    /// the plan's.
    #[arg(long, value_name = "LENGTH", value_parser = a_length_m)]
    pub(crate) stroke_length: Option<f64>,
    /// Arm speed to keep, mm/s, a bare number.
    #[arg(long, value_name = "MM_S", default_value_t = 20.0, conflicts_with = "pace", value_parser = a_number)]
    pub(crate) pace_mm_s: f64,
    /// How far off it may be, mm/s, a bare number.
    #[arg(long, value_name = "MM_S", default_value_t = 3.0, conflicts_with = "within", value_parser = a_number)]
    pub(crate) within_mm_s: f64,
    /// Travel of one stroke, m, a bare number.
    #[arg(long, value_name = "M", conflicts_with = "stroke_length", value_parser = a_number)]
    pub(crate) stroke_m: Option<f64>,
    /// Strokes to do; it ends by itself after them.
    #[arg(long, default_value_t = 10, value_parser = a_whole_number::<u32>)]
    pub(crate) strokes: u32,
    /// Show the drill without a sensor: a virtual one is worked by an invented technician, one of whose strokes is hurried. Nothing
    /// is kept.
    #[arg(long, conflicts_with_all = ["port", "out", "calibration", "technician", "panel"])]
    pub(crate) rehearse: bool,
    /// The sensor's port. Default: the only one that says it is a sensor.
    #[arg(long, value_name = "PORT")]
    pub(crate) port: Option<String>,
    /// Recording to write, the result beside it. Default: recordings/DATE_TIME_drill.mcap.
    #[arg(long, value_name = "FILE.mcap")]
    pub(crate) out: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) facts: FactArgs,
    /// Folder with the sensors' calibrations. Default: the user's own.
    #[arg(long, value_name = "DIR")]
    pub(crate) calibration: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) watch: WatchArgs,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass import other-logger.csv --out door.mcap\n  \
                        steadypass import other-logger.csv --mark-at 12:30,25:10\n\n\
                        A table must have all the rows that its logger took, best 1500 a second or more: leaving out rows folds \
                        the machine's vibration into slow movement, and speeds, strokes and passes are then wrong. If there must \
                        be fewer, low-pass filter it below half the rows a second that it keeps before leaving any out; below \
                        300 a second neither orbit rate nor motor are told.\n\n\
                        Columns (header required; gyro and temperature may be missing, extra ones are ignored):\n  \
                        t_s,accel_x_mps2,accel_y_mps2,accel_z_mps2,gyro_x_radps,gyro_y_radps,gyro_z_radps,surface_c,ambient_c\n\
                        One more, mark, may tell where a section begins, and the panel's warming is counted anew: 1 in the row at \
                        which the technician pressed a button, 0 or nothing in all others.\n\n\
                        Axes: x and y lie in the pad's plane, z points along the spindle away from the pad, turn rates are \
                        right-handed about them. Gravity must be in: face down on a level panel accel_z_mps2 is about +9.8. Times \
                        are those of measuring, evenly spaced but for holes, to the microsecond.")]
pub(crate) struct ImportArgs {
    /// The table.
    pub(crate) table: PathBuf,
    /// Recording to write. Default: the table's name with .mcap.
    #[arg(long, value_name = "FILE.mcap")]
    pub(crate) out: Option<PathBuf>,
    /// The data is invented, as that of `simulate`: every sheet and page says so.
    #[arg(long)]
    pub(crate) invented: bool,
    /// When the work began, local time; the shop files it under that day. Default: now.
    #[arg(long, value_name = "YYYY-MM-DDTHH:MM", value_parser = a_past_moment)]
    pub(crate) started: Option<jiff::ZonedDateTime>,
    /// When a new section was begun, counted from the table's first row, in seconds or as the review shows times, min:s; several with
    /// commas. Without marks the panel's warming is counted from the first section's start. Marks of the table itself count, too.
    #[arg(long, value_name = "TIME,...", value_delimiter = ',', num_args = 1, value_parser = a_time_s)]
    pub(crate) mark_at: Vec<f64>,
    #[command(flatten)]
    pub(crate) facts: FactArgs,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass review door.mcap --out door-review\n  \
                        steadypass review door.mcap --out door-review --stroke-length 16in")]
pub(crate) struct ReviewArgs {
    /// Recordings (.mcap, or .mcap.part left by a crash).
    #[arg(required = true)]
    pub(crate) recordings: Vec<PathBuf>,
    /// Folder for the results; with several recordings, one folder in it for each. The review of another recording that stands in it
    /// is replaced, which is said.
    #[arg(long, value_name = "DIR")]
    pub(crate) out: PathBuf,
    /// Plan to judge by. Default: the one in the recording.
    #[arg(long, value_name = "FILE")]
    pub(crate) plan: Option<PathBuf>,
    /// Travel of one stroke, where it is known (a taped section), with its unit, as in 18in, 450mm or 0.45m. Where the turns clearly
    /// contradict it, speeds go by the turns.
    #[arg(long, value_name = "LENGTH", value_parser = a_length_m)]
    pub(crate) stroke_length: Option<f64>,
    /// The same in metres, a bare number.
    #[arg(long, value_name = "M", conflicts_with = "stroke_length", value_parser = a_number)]
    pub(crate) stroke_length_m: Option<f64>,
    /// Who works, where the recording does not say or says it wrong.
    #[arg(long, value_name = "NAME", value_parser = a_name)]
    pub(crate) technician: Option<String>,
    /// Panel, where the recording does not say or says it wrong.
    #[arg(long, value_name = "TEXT", value_parser = a_name)]
    pub(crate) panel: Option<String>,
    #[command(flatten)]
    pub(crate) file: FileArgs,
    /// Tables only, no drawings and no page.
    #[arg(long)]
    pub(crate) no_sheets: bool,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass simulate --kind upright --seed 7 --out practice\n  \
                        steadypass simulate --kind hour --out practice")]
pub(crate) struct SimulateArgs {
    /// What to draw parameters for: demo, hour, or a kind of work; `list` names them all.
    #[arg(long, default_value = "demo")]
    pub(crate) kind: String,
    /// Same seed, same data.
    #[arg(long, default_value_t = 1, value_parser = a_whole_number::<u64>)]
    pub(crate) seed: u64,
    /// Folder for KIND-SEED.csv and KIND-SEED.truth.json.
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass exposure monday/*.mcap --out monday\n  \
                        steadypass exposure door.mcap --declared drill@right=8+3:5 --declared saw=5:10\n  \
                        steadypass exposure --technician Robin --declared sander=4.5:30\n\n\
                        A screening figure, not an ISO 8041-1 measurement. Time counts while the motor runs.\n\
                        Without --shop (or STEADYPASS_SHOP) a recording counts as the work of whom it names, whatever \
                        `shop assign` said since. So it does where STEADYPASS_SHOP leads to no shop, which is said.")]
pub(crate) struct ExposureArgs {
    /// Recordings (.mcap, or .mcap.part left by a crash). One that is given again counts once.
    pub(crate) recordings: Vec<PathBuf>,
    /// Value of a tool without sensor: NAME=A_HV:MINUTES in m/s², NAME=A_HV+K:MINUTES with the manual's uncertainty,
    /// NAME@left or NAME@right for one hand. Repeat for several.
    #[arg(long, value_name = "NAME=A_HV:MINUTES")]
    pub(crate) declared: Vec<String>,
    /// The shop's folder: a recording that is filed in it counts under the names that the shop has for it.
    #[arg(long, value_name = "DIR", env = SHOP_VARIABLE)]
    pub(crate) shop: Option<PathBuf>,
    /// Whether the shop is the one that the environment names, for every verb, and not one that was asked for here.
    #[arg(skip)]
    pub(crate) shop_is_usual: bool,
    /// Only this technician; also names recordings that do not say whose they are.
    #[arg(long, value_name = "NAME", value_parser = a_name)]
    pub(crate) technician: Option<String>,
    /// Only this day.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_past_day)]
    pub(crate) day: Option<jiff::civil::Date>,
    /// Folder for exposure.csv and a drawing of each day.
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,
    /// Action value, A(8). Default 2.5 (Directive 2002/44/EC); your country may have another.
    #[arg(long, value_name = "M/S2", value_parser = a_number)]
    pub(crate) action_value: Option<f64>,
    /// Limit value, A(8). Default 5 (Directive 2002/44/EC).
    #[arg(long, value_name = "M/S2", value_parser = a_number)]
    pub(crate) limit_value: Option<f64>,
}

#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("check").required(true).multiple(false))]
#[command(after_help = "Examples:\n  steadypass calibrate --still on-the-table.mcap\n  \
                        steadypass calibrate --still-from /dev/ttyACM0\n  \
                        steadypass calibrate --faces six-faces.mcap --latitude 52\n  \
                        steadypass calibrate --thermometer cold.mcap=5.1 --thermometer hot.mcap=48\n  \
                        steadypass calibrate --field-results hardware/field-results.csv\n\n\
                        Motor off, lead tied back; hot water scalds. Record with `steadypass record --no-review`.\n\
                        Results are kept for the sensor and used by later recordings; --dry-run only shows them.")]
pub(crate) struct CalibrateArgs {
    /// Gyro bias and level, from a recording of the sensor lying still for ten seconds or more.
    #[arg(long, group = "check", value_name = "RECORDING")]
    pub(crate) still: Option<PathBuf>,
    /// The same, recorded now for half a minute from this port.
    #[arg(long, group = "check", value_name = "PORT")]
    pub(crate) still_from: Option<String>,
    /// Accelerometer offset and scale, from a recording in which each axis points up once and down once.
    #[arg(long, group = "check", value_name = "RECORDING")]
    pub(crate) faces: Option<PathBuf>,
    /// Which arrows of the case were up in it, in order, such as x,-x,y,-y,z,-z: tells a chip that sits turned or mirrored.
    #[arg(long, value_name = "ARROWS", requires = "faces", allow_hyphen_values = true)]
    pub(crate) shown: Option<String>,
    /// Thermometer offset, from recordings looking at known temperatures, °C. Repeat for several; two that differ by
    /// 15 K or more also give the target's emissivity.
    #[arg(long, group = "check", value_name = "RECORDING=C")]
    pub(crate) thermometer: Vec<String>,
    /// Noise of the motion chip at rest (Allan deviation), from a long recording; nothing is kept.
    #[arg(long, group = "check", value_name = "RECORDING")]
    pub(crate) noise: Option<PathBuf>,
    /// Verdicts on a filled-in sheet of the field check (hardware/calibration.md); nothing is kept.
    #[arg(long, group = "check", value_name = "FILE.csv")]
    pub(crate) field_results: Option<PathBuf>,
    /// What is known about a sensor.
    #[arg(long, group = "check", value_name = "SENSOR")]
    pub(crate) show: Option<String>,
    /// Latitude of the shop, degrees, for local gravity. Default: standard gravity.
    #[arg(long, value_name = "DEG", value_parser = a_number)]
    pub(crate) latitude: Option<f64>,
    /// Height of the shop above the sea, for local gravity.
    #[arg(long, value_name = "M", default_value_t = 0.0, value_parser = a_number)]
    pub(crate) height_m: f64,
    /// Emissivity of the thermometer's target, where it is known.
    #[arg(long, value_name = "0.3-1", value_parser = a_number)]
    pub(crate) emissivity: Option<f64>,
    /// Days after which the calibration is called old. Default: as before, or 365.
    #[arg(long, value_name = "DAYS", value_parser = a_whole_number::<u32>)]
    pub(crate) valid_days: Option<u32>,
    /// Folder for calibrations. Default: the user's own.
    #[arg(long, value_name = "DIR")]
    pub(crate) calibration: Option<PathBuf>,
    /// Show the result, keep nothing.
    #[arg(long)]
    pub(crate) dry_run: bool,
}

#[cfg(test)]
mod tests {
    use clap::{Command, CommandFactory as _};

    use super::{Cli, existing, past};

    /// Narrower than any terminal in use: what is not wrapped can be pasted.
    const EXAMPLE_CHARS: usize = 80;

    fn check(verb: &Command) {
        let help = verb.get_after_help().map(ToString::to_string).unwrap_or_default();
        let examples = help.lines().skip_while(|line| !line.starts_with("Example"));
        for line in examples.skip(1).take_while(|line| line.starts_with(' ')) {
            assert!(line.chars().count() <= EXAMPLE_CHARS, "{}: {line}", verb.get_name());
        }
        verb.get_subcommands().for_each(check);
    }

    #[test]
    fn work_is_of_today_at_the_latest() {
        let [yesterday, today, tomorrow] = [27, 28, 29].map(|day| jiff::civil::date(2028, 2, day));
        assert_eq!((past(yesterday, today), past(today, today)), (Ok(yesterday), Ok(today)));
        assert_eq!(past(tomorrow, today), Err("that is still to come; today is 2028-02-28".to_owned()));
    }

    /// Every option that takes a value takes one below nought: what is wrong with it is said in the verb's own words.
    #[test]
    fn a_number_below_nought_is_a_value() {
        for words in [
            "review a.mcap --out b --stroke-length-m -0.4",
            "record --seconds -3",
            "drill --pace-mm-s -4",
            "trial add --shop s --vehicle v --technician t --pad p --liquid l --passes -4",
            "shop add --shop s pad p --place -1",
            "shop add --shop s machine m --kind orbital --throw-mm -3",
            "shop set --shop s gauge-sd-um -1",
            "thickness add --shop s --vehicle v --panel p --point 1 --phase before -5 -6",
            "calibrate --faces f.mcap --latitude -34",
        ] {
            let typed = Cli::of(format!("steadypass {words}").split(' '));
            assert!(typed.is_ok(), "{words}: {}", typed.unwrap_err());
        }
        let refused = |words: &str| Cli::of(words.split(' ')).unwrap_err().to_string();
        assert!(
            refused("steadypass drill --strokes -3")
                .contains("'-3' for '--strokes <STROKES>': expected a whole number of 0")
        );
        assert!(refused("steadypass demo --volume -3").contains("expected 0 to 100"));
        assert!(refused("steadypass drill --beat -3").contains("unexpected argument"));
    }

    /// Filing alone is under its heading, and what every verb takes stands together.
    #[test]
    fn each_option_is_under_the_heading_that_it_belongs_to() {
        fn look(verb: &Command) {
            for option in verb.get_arguments().filter(|option| option.get_long().is_some()) {
                let name = option.get_long().unwrap_or_default();
                let filing = ["shop", "machine", "vehicle", "pad", "liquid", "trainer"];
                let expected = match name {
                    "units" | "json" | "verbose" | "quiet" => Some("For every verb"),
                    _ if ["record", "review"].contains(&verb.get_name()) && filing.contains(&name) => {
                        Some("Filing in the shop's memory")
                    }
                    _ => None,
                };
                assert_eq!(option.get_help_heading(), expected, "{} --{name}", verb.get_name());
            }
            verb.get_subcommands().for_each(look);
        }
        let mut command = Cli::command();
        command.build();
        look(&command);
    }

    #[test]
    fn every_command_has_an_example() {
        for verb in Cli::command().get_subcommands() {
            let help = verb.get_after_help().map(ToString::to_string).unwrap_or_default();
            let name = verb.get_name();
            assert!(help.starts_with("Example") && help.contains(&format!("steadypass {name}")), "{name}: {help}");
        }
    }

    #[test]
    fn a_time_that_clocks_leave_out_is_none() {
        let zone = jiff::tz::TimeZone::posix("EST5EDT,M3.2.0,M11.1.0").expect("a zone");
        let at = |hour| existing(jiff::civil::date(2026, 3, 8).at(hour, 30, 0, 0), zone.clone());
        assert!(at(2).is_err_and(|why| why.contains("the clocks were put forward")));
        assert!(at(1).is_ok() && at(3).is_ok());
        // Twice there is one: the first is taken.
        let twice = existing(jiff::civil::date(2026, 11, 1).at(1, 30, 0, 0), zone.clone()).expect("a time");
        assert_eq!(twice.offset(), jiff::tz::offset(-4));
    }

    #[test]
    fn no_example_is_wrapped() {
        check(&Cli::command());
    }
}
