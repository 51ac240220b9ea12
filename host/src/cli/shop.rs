//! Arguments of the verbs around the shop's memory.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use super::{a_day, a_needed_name, a_past_day};

/// The shop's folder.
#[derive(Clone, Debug, Args)]
pub(crate) struct ShopFolder {
    /// The shop's folder.
    #[arg(long = "shop", value_name = "DIR", env = "STEADYPASS_SHOP")]
    pub(crate) folder: PathBuf,
}

/// Where a recording is filed, and what is said about it.
#[derive(Clone, Debug, Default, Args)]
#[command(next_help_heading = "Filing in the shop's memory")]
pub(crate) struct FileArgs {
    /// The shop's folder; the figures are filed there.
    #[arg(long, value_name = "DIR", env = "STEADYPASS_SHOP")]
    pub(crate) shop: Option<PathBuf>,
    /// Machine, as the shop calls it. Default: the plan's, or what was filed before.
    #[arg(long, value_name = "NAME", requires = "shop")]
    pub(crate) machine: Option<String>,
    /// Vehicle, as the shop calls it.
    #[arg(long, value_name = "LABEL", requires = "shop")]
    pub(crate) vehicle: Option<String>,
    /// Pad, as the shop calls it.
    #[arg(long, value_name = "NAME", requires = "shop")]
    pub(crate) pad: Option<String>,
    /// Liquid, as the shop calls it.
    #[arg(long, value_name = "NAME", requires = "shop")]
    pub(crate) liquid: Option<String>,
    /// The trainer's session: others can be shown beside it.
    #[arg(long, requires = "shop")]
    pub(crate) trainer: bool,
}

#[derive(Debug, Args)]
pub(crate) struct ShopArgs {
    #[command(subcommand)]
    pub(crate) what: ShopVerb,
}

#[derive(Debug, Subcommand)]
pub(crate) enum ShopVerb {
    /// Makes a shop in a folder.
    #[command(after_help = "Example:\n  steadypass shop init --shop ~/shop --name \"Corner Shop\"")]
    Init {
        #[command(flatten)]
        shop: ShopFolder,
        /// The shop's name, for reports.
        #[arg(long)]
        name: Option<String>,
    },
    /// What the shop knows, and whether its store is whole.
    #[command(after_help = "Example:\n  steadypass shop status --shop ~/shop --all")]
    Status {
        #[command(flatten)]
        shop: ShopFolder,
        /// List all names and sessions.
        #[arg(long)]
        all: bool,
    },
    /// Adds a technician, machine, pad, liquid or vehicle.
    Add(AddArgs),
    /// Puts a wrongly typed name right, wherever it stands; also a panel's.
    Rename(RenameArgs),
    /// Takes a name away that nothing uses.
    #[command(after_help = "Example:\n  steadypass shop remove --shop ~/shop technician Robni\n\n\
                            A name that sessions, tries, readings or notes use stays; `shop rename --merge` puts them under \
                            another name first.")]
    Remove {
        #[command(flatten)]
        shop: ShopFolder,
        /// What is removed.
        #[arg(value_enum)]
        what: AddWhat,
        /// Its name.
        #[arg(value_parser = a_needed_name)]
        name: String,
    },
    /// Sets the shop's name, logo, care advice, gauge repeatability or film limit.
    #[command(after_help = "Examples:\n  steadypass shop set --shop ~/shop gauge-sd-um 1.2\n  \
                            steadypass shop set --shop ~/shop care \"Wash by hand with two buckets.\"")]
    Set {
        #[command(flatten)]
        shop: ShopFolder,
        /// name, logo, care, gauge-sd-um or film-floor-um.
        key: String,
        /// Its value.
        value: String,
    },
    /// Marks a session as the trainer's.
    #[command(after_help = "Example:\n  steadypass shop trainer --shop ~/shop 12")]
    Trainer {
        #[command(flatten)]
        shop: ShopFolder,
        /// Its number in `shop status --all`.
        session: i64,
        /// Take the mark away.
        #[arg(long)]
        not: bool,
    },
    /// Gives a session to another technician, where a recording or a hand-over named the wrong one.
    #[command(after_help = "Example:\n  steadypass shop assign --shop ~/shop 12 Kim")]
    Assign {
        #[command(flatten)]
        shop: ShopFolder,
        /// Its number in `shop status --all`.
        session: i64,
        /// Who worked.
        technician: String,
    },
    /// Adds rows of CSV tables, or a whole exported shop (JSON) into an empty one.
    #[command(after_help = "Examples:\n  steadypass shop import --shop ~/shop products.csv trials.csv\n  \
                            steadypass shop import --shop ~/new shop-tables/*.csv\n  \
                            steadypass shop import --shop ~/new shop.json\n\n\
                            A table's file name says what it holds: settings, technicians, machines, products, vehicles, \
                            sessions, trials, film_readings or notes, with the columns that `shop export` writes; columns \
                            that are not told may be left out. All rows of all files go in, or none.")]
    Import {
        #[command(flatten)]
        shop: ShopFolder,
        /// The files.
        #[arg(required = true, value_name = "FILE")]
        files: Vec<PathBuf>,
    },
    /// Writes everything but owners' names as CSV tables and one JSON file.
    #[command(after_help = "Example:\n  steadypass shop export --shop ~/shop --out shop-tables")]
    Export {
        #[command(flatten)]
        shop: ShopFolder,
        /// Folder for the files.
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
    },
    /// Writes a whole copy of the store.
    #[command(after_help = "Example:\n  steadypass shop backup --shop ~/shop --to /media/disk/shop-2026-11-25.db")]
    Backup {
        #[command(flatten)]
        shop: ShopFolder,
        /// The copy; must not exist.
        #[arg(long, value_name = "FILE")]
        to: PathBuf,
    },
    /// Computes the figures of all sessions again, from their recordings.
    #[command(after_help = "Example:\n  steadypass shop rebuild --shop ~/shop")]
    Rebuild {
        #[command(flatten)]
        shop: ShopFolder,
    },
    /// An invented shop with stated differences, and what `compare` finds of them (no hardware, no recordings).
    #[command(after_help = "Example:\n  steadypass shop demo --out demo-shop")]
    Demo {
        /// Folder for the shop and the comparison.
        #[arg(long, value_name = "DIR", default_value = "steadypass-demo-shop")]
        out: PathBuf,
        /// Same seed, same shop.
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass shop add --shop ~/shop technician Robin\n  \
                        steadypass shop add --shop ~/shop machine \"machine 2\" --kind orbital \\\n    \
                        --throw-mm 15 --pad-mm 125\n  \
                        steadypass shop add --shop ~/shop pad \"white foam\" --place 1\n  \
                        steadypass shop add --shop ~/shop vehicle \"saloon A\" \\\n    \
                        --paint clear-coat --year 2019 --colour dark")]
pub(crate) struct AddArgs {
    #[command(flatten)]
    pub(crate) shop: ShopFolder,
    /// What is added.
    #[arg(value_enum)]
    pub(crate) what: AddWhat,
    /// Its name.
    pub(crate) name: String,
    /// Machine: orbital or rotary.
    #[arg(long)]
    pub(crate) kind: Option<String>,
    /// Orbital machine: diameter of the orbit, mm.
    #[arg(long)]
    pub(crate) throw_mm: Option<f64>,
    /// Machine: size of a pad it is used with, mm; may be given several times.
    #[arg(long)]
    pub(crate) pad_mm: Vec<f64>,
    /// Pad or liquid: place in the shop's own order of aggressiveness, 1 = mildest.
    #[arg(long)]
    pub(crate) place: Option<i64>,
    /// Vehicle: clear-coat, single-stage, respray or unknown.
    #[arg(long, default_value = "unknown")]
    pub(crate) paint: String,
    /// Vehicle: year the paint was put on.
    #[arg(long)]
    pub(crate) year: Option<i64>,
    /// Vehicle: dark, medium, light or unknown.
    #[arg(long, default_value = "unknown")]
    pub(crate) colour: String,
    /// Vehicle: soft, medium, hard or unknown, as found so far.
    #[arg(long, default_value = "unknown")]
    pub(crate) hardness: String,
    /// Vehicle: whose it is; never exported.
    #[arg(long)]
    pub(crate) owner: Option<String>,
    /// Anything else.
    #[arg(long, default_value = "")]
    pub(crate) note: String,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum AddWhat {
    /// Somebody who works with the machine.
    Technician,
    /// A polisher.
    Machine,
    /// A pad.
    Pad,
    /// A compound, polish or other liquid.
    Liquid,
    /// A vehicle, as a description of its paint.
    Vehicle,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass shop rename --shop ~/shop technician Robni Robin\n  \
                        steadypass shop rename --shop ~/shop technician \"Robin R\" Robin --merge\n  \
                        steadypass shop rename --shop ~/shop panel bonet bonnet --vehicle \"saloon A\"\n\n\
                        A new name that is another's already is refused without --merge. Recordings are not touched: they go \
                        on saying what was typed for them, and what is filed of them stays under the new name.")]
pub(crate) struct RenameArgs {
    #[command(flatten)]
    pub(crate) shop: ShopFolder,
    /// What is renamed.
    #[arg(value_enum)]
    pub(crate) what: RenameWhat,
    /// Its name so far.
    #[arg(value_parser = a_needed_name)]
    pub(crate) old: String,
    /// Its name from now on.
    #[arg(value_parser = a_needed_name)]
    pub(crate) new: String,
    /// Panel: of which vehicle.
    #[arg(long, value_name = "LABEL", required_if_eq("what", "panel"))]
    pub(crate) vehicle: Option<String>,
    /// Put it together with the one that is called so already, which keeps what is known about it. Cannot be taken back.
    #[arg(long)]
    pub(crate) merge: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum RenameWhat {
    /// Somebody who works with the machine.
    Technician,
    /// A polisher.
    Machine,
    /// A pad.
    Pad,
    /// A compound, polish or other liquid.
    Liquid,
    /// A vehicle.
    Vehicle,
    /// A panel of a vehicle.
    Panel,
}

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
                        steadypass compare --shop ~/shop --out lesson --reference 12 --session 31")]
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
    #[arg(long, value_name = "NAME")]
    pub(crate) technician: Option<String>,
    /// Only sessions with this machine.
    #[arg(long, value_name = "NAME")]
    pub(crate) machine: Option<String>,
    /// Only sessions with this pad.
    #[arg(long, value_name = "NAME")]
    pub(crate) pad: Option<String>,
    /// Only sessions with this liquid.
    #[arg(long, value_name = "NAME")]
    pub(crate) liquid: Option<String>,
    /// Only from this day on.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_day)]
    pub(crate) from: Option<jiff::civil::Date>,
    /// Only up to this day.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_day)]
    pub(crate) to: Option<jiff::civil::Date>,
    /// Session shown beside the trainer's, by its number in `shop status --all`.
    #[arg(long, value_name = "NUMBER")]
    pub(crate) session: Option<i64>,
    /// The trainer's session. Default: the newest marked as such.
    #[arg(long, value_name = "NUMBER", requires = "session")]
    pub(crate) reference: Option<i64>,
}

impl FileArgs {
    /// What the user says about a session.
    pub(crate) fn about(&self, technician: Option<String>, panel: Option<String>) -> steadypass::shop::fill::About {
        steadypass::shop::fill::About {
            technician,
            machine: self.machine.clone(),
            vehicle: self.vehicle.clone(),
            pad: self.pad.clone(),
            liquid: self.liquid.clone(),
            panel,
            trainer: self.trainer,
        }
    }
}

#[derive(Debug, Args)]
pub(crate) struct TrialArgs {
    #[command(subcommand)]
    pub(crate) what: TrialVerb,
}

#[derive(Debug, Subcommand)]
pub(crate) enum TrialVerb {
    /// A small group and the two to try, least aggressive first, with the evidence.
    #[command(after_help = "Example:\n  steadypass trial propose --shop ~/shop --vehicle \"saloon A\"")]
    Propose {
        #[command(flatten)]
        shop: ShopFolder,
        /// Vehicle, as the shop calls it.
        #[arg(long, value_name = "LABEL")]
        vehicle: String,
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
        #[arg(long, value_name = "LABEL")]
        vehicle: String,
        /// Pad, as the shop calls it.
        #[arg(long, value_name = "NAME")]
        pad: String,
        /// Liquid, as the shop calls it.
        #[arg(long, value_name = "NAME")]
        liquid: String,
        /// Only tries on this panel.
        #[arg(long, value_name = "TEXT")]
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
        #[arg(long, value_name = "LABEL")]
        vehicle: String,
        /// Only tries on this panel.
        #[arg(long, value_name = "TEXT")]
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
    #[arg(long, value_name = "LABEL")]
    pub(crate) vehicle: String,
    /// Who tried.
    #[arg(long, value_name = "NAME")]
    pub(crate) technician: String,
    /// Pad, as the shop calls it.
    #[arg(long, value_name = "NAME")]
    pub(crate) pad: String,
    /// Liquid, as the shop calls it.
    #[arg(long, value_name = "NAME")]
    pub(crate) liquid: String,
    /// Passes worked.
    #[arg(long)]
    pub(crate) passes: i64,
    /// The finish that was wanted was reached; leave it out when not.
    #[arg(long)]
    pub(crate) reached: bool,
    /// Haze left: 0 none, 1 slight, 2 plain, 3 heavy.
    #[arg(long, default_value_t = 0)]
    pub(crate) haze: i64,
    /// Holograms left: 0 none, 1 slight, 2 plain, 3 heavy.
    #[arg(long, default_value_t = 0)]
    pub(crate) holograms: i64,
    /// Film taken, µm, where it was measured.
    #[arg(long, value_name = "UM")]
    pub(crate) film_um: Option<f64>,
    /// Where on the vehicle.
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) panel: String,
    /// Machine, as the shop calls it.
    #[arg(long, value_name = "NAME")]
    pub(crate) machine: Option<String>,
    /// The recording's session, the technician's own, by its number in `shop status --all`.
    #[arg(long, value_name = "NUMBER")]
    pub(crate) session: Option<i64>,
    /// Day. Default: today.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_past_day)]
    pub(crate) day: Option<jiff::civil::Date>,
    /// Anything else.
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

#[derive(Debug, Args)]
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
        #[arg(long, value_name = "LABEL")]
        vehicle: Option<String>,
        /// Where on the vehicle.
        #[arg(long, value_name = "TEXT", requires = "vehicle")]
        panel: Option<String>,
        /// Session, by its number in `shop status --all`.
        #[arg(long, value_name = "NUMBER")]
        session: Option<i64>,
        /// One of the session's sections.
        #[arg(long, value_name = "NUMBER", requires = "session")]
        section: Option<u32>,
        /// Day. Default: today, or the session's.
        #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_day)]
        day: Option<jiff::civil::Date>,
        /// The note.
        text: String,
    },
    /// Takes a wrongly typed note away.
    #[command(after_help = "Example:\n  steadypass note remove --shop ~/shop \"Deep scratch left.\"")]
    Remove {
        #[command(flatten)]
        shop: ShopFolder,
        /// The note, word by word.
        text: String,
    },
    /// Lists notes, those marked while recording among them.
    #[command(after_help = "Example:\n  steadypass note list --shop ~/shop --vehicle \"saloon A\"")]
    List {
        #[command(flatten)]
        shop: ShopFolder,
        /// Only this vehicle's, those of its sessions included.
        #[arg(long, value_name = "LABEL")]
        vehicle: Option<String>,
        /// Only this session's.
        #[arg(long, value_name = "NUMBER")]
        session: Option<i64>,
    },
}

#[derive(Debug, Args)]
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
    #[arg(long, value_name = "LABEL")]
    pub(crate) vehicle: String,
    /// Panel.
    #[arg(long)]
    pub(crate) panel: String,
    /// Point on the panel, as the shop names it.
    #[arg(long)]
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
                        --point 1 --phase after --section 1 --at-m 0.12,0.30 118 119"
    )]
    Add {
        #[command(flatten)]
        shop: ShopFolder,
        #[command(flatten)]
        at: GaugePoint,
        /// Number of the section on the panel that the point lies in, as in the recording.
        #[arg(long, value_name = "NUMBER", requires = "at_m")]
        section: Option<u32>,
        /// Where the gauge stood, metres along and across the section: from the corner where its first stroke starts, at its
        /// right. With it the ledger sets each reading against what was rubbed at its own place.
        #[arg(long, value_name = "ALONG,ACROSS", value_delimiter = ',', num_args = 1, requires = "section")]
        at_m: Vec<f64>,
        /// Day. Default: today.
        #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_past_day)]
        day: Option<jiff::civil::Date>,
        /// Readings of the whole build, µm (1 mil = 25.4 µm).
        #[arg(required = true)]
        readings: Vec<f64>,
    },
    /// Takes wrongly typed readings of one point away.
    #[command(after_help = "Example:\n  steadypass thickness remove --shop ~/shop --vehicle \"saloon A\" \\\n    \
                      --panel bonnet --point 1 --phase before")]
    Remove {
        #[command(flatten)]
        shop: ShopFolder,
        #[command(flatten)]
        at: GaugePoint,
        /// Only readings of this day.
        #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_day)]
        day: Option<jiff::civil::Date>,
    },
    /// Panels with their readings, removal and cautions.
    #[command(after_help = "Example:\n  steadypass thickness show --shop ~/shop --vehicle \"saloon A\"")]
    Show {
        #[command(flatten)]
        shop: ShopFolder,
        /// Only this vehicle.
        #[arg(long, value_name = "LABEL")]
        vehicle: Option<String>,
    },
    /// What a metre of rubbing took off which paint, with which pad and liquid: a table and a drawing.
    #[command(after_help = "Example:\n  steadypass thickness ledger --shop ~/shop --out ledger --sort paint")]
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
    #[arg(long, value_name = "LABEL")]
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
                        Work past midnight counts on the day it falls on. Vibration comes from the recordings: where one is gone \
                        or has losses, that is said, and the exit code is 3.")]
pub(crate) struct DayArgs {
    #[command(flatten)]
    pub(crate) shop: ShopFolder,
    /// Who.
    #[arg(long, value_name = "NAME")]
    pub(crate) technician: String,
    /// Day. Default: today.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = a_day)]
    pub(crate) day: Option<jiff::civil::Date>,
    /// Also write the sheet as a page.
    #[arg(long, value_name = "FILE.html")]
    pub(crate) out: Option<PathBuf>,
}
