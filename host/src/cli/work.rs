//! Arguments of the verbs that write down what was tried, read and noted, and of those that look back on the work.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use super::shop::ShopFolder;
use super::values::{a_length_m, a_number, a_reading, a_whole_number, film_um};
use super::{a_day, a_name, a_needed_name, a_past_day};

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum ByArg {
    /// Who worked; with trends over working days.
    Technician,
    /// The machine.
    Machine,
    /// Pad and liquid together.
    Product,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass compare --shop ~/shop --out comparison\n  \
                        steadypass compare --shop ~/shop --out robin --technician Robin\n  \
                        steadypass compare --shop ~/shop --out by-machine --by machine\n  \
                        steadypass compare --shop ~/shop --out lesson --reference 12 --session 31\n\n\
                        A working day's sections of one number on a panel of a vehicle are one, in however many recordings, as in \
                        `day` and `report`; where no vehicle or no panel is named, each recording's are its own.\n\n\
                        The peak surface rise is a mean: how far the panel was over the section's start at the warmest moment of each \
                        pass, averaged over the passes. `day` and `report` show the warmest of all.")]
pub(crate) struct CompareArgs {
    #[command(flatten)]
    pub(crate) shop: ShopFolder,
    /// Folder for tables, drawings and the page.
    #[arg(long, value_name = "DIR")]
    pub(crate) out: PathBuf,
    /// What is compared.
    #[arg(long, value_enum, default_value_t = ByArg::Technician)]
    pub(crate) by: ByArg,
    /// Only this technician's sessions (by technician: one over time).
    #[arg(long, value_name = "NAME", value_parser = a_needed_name)]
    pub(crate) technician: Option<String>,
    /// Only sessions with this machine.
    #[arg(long, value_name = "NAME", value_parser = a_needed_name)]
    pub(crate) machine: Option<String>,
    /// Only sessions with this pad.
    #[arg(long, value_name = "NAME", value_parser = a_needed_name)]
    pub(crate) pad: Option<String>,
    /// Only sessions with this liquid.
    #[arg(long, value_name = "NAME", value_parser = a_needed_name)]
    pub(crate) liquid: Option<String>,
    /// Only from this day on.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_day)]
    pub(crate) from: Option<jiff::civil::Date>,
    /// Only up to this day.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_day)]
    pub(crate) to: Option<jiff::civil::Date>,
    /// Session shown beside the trainer's and the plan, with what to do next, by its number in `shop status --all`.
    #[arg(long, value_name = "NUMBER", value_parser = a_whole_number::<i64>)]
    pub(crate) session: Option<i64>,
    /// The trainer's session. Default: the newest marked as such.
    #[arg(long, value_name = "NUMBER", requires = "session", value_parser = a_whole_number::<i64>)]
    pub(crate) reference: Option<i64>,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass trial propose --shop ~/shop --vehicle \"saloon A\"\n  \
                        steadypass trial verdict --help")]
pub(crate) struct TrialArgs {
    #[command(subcommand)]
    pub(crate) what: TrialVerb,
}

#[derive(Debug, Subcommand)]
pub(crate) enum TrialVerb {
    /// A small group and the two to try, least aggressive first, with the evidence.
    #[command(after_help = "Example:\n  steadypass trial propose --shop ~/shop --vehicle \"saloon A\"\n\n\
                      What failed on this vehicle is not proposed again, nor anything milder; nor anything more aggressive than \
                      what reached the finish on it.")]
    Propose {
        #[command(flatten)]
        shop: ShopFolder,
        /// Vehicle, as the shop calls it.
        #[arg(long, value_name = "LABEL", value_parser = a_needed_name)]
        vehicle: String,
        /// Go by the tries on this panel alone: other painted parts may differ. Default: by all tries on the vehicle.
        #[arg(long, value_name = "TEXT", value_parser = a_needed_name)]
        panel: Option<String>,
    },
    /// Writes a try down, and says how things stand.
    Add(Box<TrialAddArgs>),
    /// Takes wrongly typed tries away.
    #[command(after_help = "Example:\n  steadypass trial remove --shop ~/shop --vehicle \"saloon A\" \\\n    \
                      --pad \"white foam\" --liquid finishing")]
    Remove {
        #[command(flatten)]
        shop: ShopFolder,
        /// Vehicle, as the shop calls it.
        #[arg(long, value_name = "LABEL", value_parser = a_needed_name)]
        vehicle: String,
        /// Pad, as the shop calls it.
        #[arg(long, value_name = "NAME", value_parser = a_needed_name)]
        pad: String,
        /// Liquid, as the shop calls it.
        #[arg(long, value_name = "NAME", value_parser = a_needed_name)]
        liquid: String,
        /// Only tries on this panel.
        #[arg(long, value_name = "TEXT", value_parser = a_needed_name)]
        panel: Option<String>,
        /// Only tries of this day.
        #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_day)]
        day: Option<jiff::civil::Date>,
    },
    /// Which to keep: the least aggressive that reached the finish.
    #[command(after_help = "Example:\n  steadypass trial verdict --shop ~/shop --vehicle \"saloon A\" --panel bonnet")]
    Verdict {
        #[command(flatten)]
        shop: ShopFolder,
        /// Vehicle, as the shop calls it.
        #[arg(long, value_name = "LABEL", value_parser = a_needed_name)]
        vehicle: String,
        /// Only tries on this panel.
        #[arg(long, value_name = "TEXT", value_parser = a_needed_name)]
        panel: Option<String>,
    },
}

#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  steadypass trial add --shop ~/shop --vehicle \"saloon A\" --technician Robin \\\n    \
                        --panel bonnet --pad \"white foam\" --liquid finishing --passes 4 --reached"
)]
pub(crate) struct TrialAddArgs {
    #[command(flatten)]
    pub(crate) shop: ShopFolder,
    /// Vehicle, as the shop calls it.
    #[arg(long, value_name = "LABEL", value_parser = a_needed_name)]
    pub(crate) vehicle: String,
    /// Who tried.
    #[arg(long, value_name = "NAME", value_parser = a_needed_name)]
    pub(crate) technician: String,
    /// Pad, as the shop calls it.
    #[arg(long, value_name = "NAME", value_parser = a_needed_name)]
    pub(crate) pad: String,
    /// Liquid, as the shop calls it.
    #[arg(long, value_name = "NAME", value_parser = a_needed_name)]
    pub(crate) liquid: String,
    /// Passes worked.
    #[arg(long, value_parser = a_whole_number::<i64>)]
    pub(crate) passes: i64,
    /// The finish that was wanted was reached; leave it out when not.
    #[arg(long)]
    pub(crate) reached: bool,
    /// Haze left: 0 none, 1 slight, 2 plain, 3 heavy.
    #[arg(long, default_value_t = 0, value_parser = a_whole_number::<i64>)]
    pub(crate) haze: i64,
    /// Holograms left: 0 none, 1 slight, 2 plain, 3 heavy.
    #[arg(long, default_value_t = 0, value_parser = a_whole_number::<i64>)]
    pub(crate) holograms: i64,
    /// Film taken, µm, where it was measured; with its unit where it is another, as in 0.1mil.
    #[arg(long, value_name = "UM", value_parser = film_um)]
    pub(crate) film_um: Option<f64>,
    /// Where on the vehicle.
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true, value_parser = a_name)]
    pub(crate) panel: String,
    /// Machine, as the shop calls it.
    #[arg(long, value_name = "NAME", value_parser = a_needed_name)]
    pub(crate) machine: Option<String>,
    /// The recording's session, the technician's own, by its number in `shop status --all`.
    #[arg(long, value_name = "NUMBER", value_parser = a_whole_number::<i64>)]
    pub(crate) session: Option<i64>,
    /// Day. Default: that of the session, else today.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_past_day)]
    pub(crate) day: Option<jiff::civil::Date>,
    /// Anything else.
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  steadypass note add --shop ~/shop --vehicle \"saloon A\" \"Deep scratch left.\"\n  \
                        steadypass note list --shop ~/shop --vehicle \"saloon A\""
)]
pub(crate) struct NoteArgs {
    #[command(subcommand)]
    pub(crate) what: NoteVerb,
}

#[derive(Debug, Subcommand)]
pub(crate) enum NoteVerb {
    /// Writes a note down: about a vehicle, a panel of it, a session, a section of a session, or the shop.
    #[command(
        after_help = "Examples:\n  steadypass note add --shop ~/shop --vehicle \"saloon A\" \"Deep scratch left.\"\n  \
                        steadypass note add --shop ~/shop --session 12 --section 2 \"New pad.\""
    )]
    Add {
        #[command(flatten)]
        shop: ShopFolder,
        /// Vehicle, as the shop calls it.
        #[arg(long, value_name = "LABEL", value_parser = a_needed_name)]
        vehicle: Option<String>,
        /// Where on the vehicle.
        #[arg(long, value_name = "TEXT", requires = "vehicle", value_parser = a_needed_name)]
        panel: Option<String>,
        /// Session, by its number in `shop status --all`.
        #[arg(long, value_name = "NUMBER", value_parser = a_whole_number::<i64>)]
        session: Option<i64>,
        /// One of the session's sections.
        #[arg(long, value_name = "NUMBER", requires = "session", value_parser = a_whole_number::<u32>)]
        section: Option<u32>,
        /// Day. Default: today, or the session's.
        #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_past_day)]
        day: Option<jiff::civil::Date>,
        /// The note.
        text: String,
    },
    /// Takes a wrongly typed note away.
    #[command(after_help = "Examples:\n  steadypass note remove --shop ~/shop \"Deep scratch left.\"\n  \
                      steadypass note remove --shop ~/shop --vehicle \"saloon A\" \"Stone chips.\"\n\n\
                      Where several notes have these words none goes: they are listed, to choose from.")]
    Remove {
        #[command(flatten)]
        shop: ShopFolder,
        /// Only one of this vehicle, or of its sessions.
        #[arg(long, value_name = "LABEL", value_parser = a_needed_name)]
        vehicle: Option<String>,
        /// Only one of this session.
        #[arg(long, value_name = "NUMBER", value_parser = a_whole_number::<i64>)]
        session: Option<i64>,
        /// Only one of this day.
        #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_day)]
        day: Option<jiff::civil::Date>,
        /// The note, word by word.
        text: String,
    },
    /// Lists notes, those marked while recording among them.
    #[command(after_help = "Example:\n  steadypass note list --shop ~/shop --vehicle \"saloon A\"")]
    List {
        #[command(flatten)]
        shop: ShopFolder,
        /// Only this vehicle's, those of its sessions included.
        #[arg(long, value_name = "LABEL", value_parser = a_needed_name)]
        vehicle: Option<String>,
        /// Only this session's.
        #[arg(long, value_name = "NUMBER", value_parser = a_whole_number::<i64>)]
        session: Option<i64>,
    },
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass thickness show --shop ~/shop --vehicle \"saloon A\"\n  \
                        steadypass thickness add --help")]
pub(crate) struct ThicknessArgs {
    #[command(subcommand)]
    pub(crate) what: ThicknessVerb,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum SortArg {
    /// Most taken per metre first.
    Wear,
    /// By paint.
    Paint,
    /// By pad and liquid.
    Product,
}

/// Which point of which panel, before the work or after it.
#[derive(Debug, Args)]
pub(crate) struct GaugePoint {
    /// Vehicle, as the shop calls it.
    #[arg(long, value_name = "LABEL", value_parser = a_needed_name)]
    pub(crate) vehicle: String,
    /// Panel.
    #[arg(long, value_name = "TEXT", value_parser = a_needed_name)]
    pub(crate) panel: String,
    /// Point on the panel, as the shop names it.
    #[arg(long, value_name = "NAME", value_parser = a_needed_name)]
    pub(crate) point: String,
    /// before or after the work.
    #[arg(long)]
    pub(crate) phase: String,
}

#[derive(Debug, Subcommand)]
pub(crate) enum ThicknessVerb {
    /// Writes readings of one point down, and shows the vehicle's panels.
    #[command(
        after_help = "Examples:\n  steadypass thickness add --shop ~/shop --vehicle \"saloon A\" --panel bonnet \\\n    \
                        --point 1 --phase before 121 122\n  \
                        steadypass thickness add --shop ~/shop --vehicle \"saloon A\" --panel bonnet \\\n    \
                        --point 1 --phase after --section 1 --at-m 0.12,0.30 118 119\n\n\
                        The gauge's spread is taken from the repeats of all spots of the shop, unless `shop set gauge-sd-um` tells \
                        it. Readings of a spot that do not fit together are called odd and are no part of it."
    )]
    Add {
        #[command(flatten)]
        shop: ShopFolder,
        #[command(flatten)]
        at: GaugePoint,
        /// Number of the section on the panel that the point lies in, as in the recording; together with --at or --at-m.
        #[arg(long, value_name = "NUMBER", value_parser = a_whole_number::<u32>)]
        section: Option<u32>,
        /// Where the gauge stood, together with --section: metres along and across the section: from the corner where its first stroke starts, at its
        /// right. With three such points or more the ledger sets each against what was rubbed at its own place.
        #[arg(long, value_name = "ALONG,ACROSS", value_delimiter = ',', num_args = 1, value_parser = a_number)]
        at_m: Vec<f64>,
        /// The same with their units, as in 5in,12in.
        #[arg(long = "at", value_name = "ALONG,ACROSS", value_delimiter = ',', num_args = 1, conflicts_with = "at_m", value_parser = a_length_m)]
        at_lengths: Vec<f64>,
        /// Day. Default: today.
        #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_past_day)]
        day: Option<jiff::civil::Date>,
        /// Readings of the whole build, µm; with their unit where it is another, as in 4.8mil (1 mil = 25.4 µm).
        #[arg(required = true, value_parser = a_reading)]
        readings: Vec<f64>,
    },
    /// Takes wrongly typed readings of one point away: those that are named, or all of them.
    #[command(after_help = "Examples:\n  steadypass thickness remove --shop ~/shop --vehicle \"saloon A\" \\\n    \
                      --panel bonnet --point 1 --phase before 1220\n  \
                      steadypass thickness remove --shop ~/shop --vehicle \"saloon A\" \\\n    \
                      --panel bonnet --point 1 --phase before")]
    Remove {
        #[command(flatten)]
        shop: ShopFolder,
        #[command(flatten)]
        at: GaugePoint,
        /// Only readings of this day.
        #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_day)]
        day: Option<jiff::civil::Date>,
        /// Only these, as they were typed or as `thickness show` lists them in µm, each once. Default: all.
        #[arg(value_parser = a_reading)]
        readings: Vec<f64>,
    },
    /// Panels with their readings, removal and cautions.
    #[command(after_help = "Example:\n  steadypass thickness show --shop ~/shop --vehicle \"saloon A\"")]
    Show {
        #[command(flatten)]
        shop: ShopFolder,
        /// Only this vehicle.
        #[arg(long, value_name = "LABEL", value_parser = a_needed_name)]
        vehicle: Option<String>,
    },
    /// What a metre of rubbing took off which paint, with which pad and liquid: a table and a drawing.
    #[command(after_help = "Example:\n  steadypass thickness ledger --shop ~/shop --out ledger --sort paint\n\n\
                            Where readings have no place of their own, they are held against the sections' means. How the passes of \
                            a section lay upon each other is not known: laid as measured they rubbed least on average, exactly upon \
                            each other most. The middle is taken, and the interval holds both.")]
    Ledger {
        #[command(flatten)]
        shop: ShopFolder,
        /// Order of the rows.
        #[arg(long, value_enum, default_value_t = SortArg::Wear)]
        sort: SortArg,
        /// Folder for ledger.csv and ledger.png.
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
    },
}

#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  steadypass report --shop ~/shop --vehicle \"saloon A\" --found \"Wash marks.\" \\\n    \
                        --picture before.jpg --picture after.jpg --out saloon-a.html"
)]
pub(crate) struct ReportArgs {
    #[command(flatten)]
    pub(crate) shop: ShopFolder,
    /// Vehicle, as the shop calls it.
    #[arg(long, value_name = "LABEL", value_parser = a_needed_name)]
    pub(crate) vehicle: String,
    /// What was found, in the shop's words.
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) found: String,
    /// Picture (PNG or JPEG), its name is its caption; up to four.
    #[arg(long, value_name = "FILE")]
    pub(crate) picture: Vec<PathBuf>,
    /// The page.
    #[arg(long, value_name = "FILE.html")]
    pub(crate) out: PathBuf,
}

#[derive(Debug, Args)]
#[command(after_help = "Example:\n  steadypass day --shop ~/shop --technician Robin --out robin-today.html\n\n\
                        Work past midnight counts on the day it falls on. Sections of one number on a panel of a vehicle are one, in however \
                        many recordings; where no vehicle or no panel is named, each recording's are its own. Warnings are those that fell into a pass; \
                        a review counts those between passes, too, and says how many they are. Vibration comes from the recordings: where one is gone \
                        or has losses, that is said, and the exit code is 3. Sessions that were filed without one, as \
                        those of an invented shop, have lost nothing; their vibration is not known. Who read the film gauge is not \
                        written down: the sheet has the readings and notes of the vehicles worked or tried on, and on a day without \
                        either those of vehicles that nobody worked or tried on.")]
pub(crate) struct DayArgs {
    #[command(flatten)]
    pub(crate) shop: ShopFolder,
    /// Who.
    #[arg(long, value_name = "NAME", value_parser = a_needed_name)]
    pub(crate) technician: String,
    /// Day. Default: today.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_past_day)]
    pub(crate) day: Option<jiff::civil::Date>,
    /// Also write the sheet as a page.
    #[arg(long, value_name = "FILE.html")]
    pub(crate) out: Option<PathBuf>,
}
