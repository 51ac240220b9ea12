//! Arguments of the verbs around the shop's memory.

use std::{path::PathBuf, sync::LazyLock};

use clap::{Args, Subcommand, ValueEnum, builder::PossibleValue};

use super::{
    PaintYear, SHOP_VARIABLE, a_needed_name, a_paint_year, a_paint_year_if_any,
    values::{a_number, a_whole_number},
};

/// The shop's folder.
#[derive(Clone, Debug, Args)]
pub(crate) struct ShopFolder {
    /// The shop's folder.
    #[arg(id = "shop", long, value_name = "DIR", env = SHOP_VARIABLE)]
    pub(crate) folder: PathBuf,
}

/// Heading of [`FileArgs`], each of them: one for the whole of them would go on over what a verb lists after them.
const FILING: &str = "Filing in the shop's memory";

/// Where a recording is filed, and what is said about it.
#[derive(Clone, Debug, Default, Args)]
pub(crate) struct FileArgs {
    /// The shop's folder; the figures are filed there. One that only the environment names may be missing, where nothing else is told
    /// of the filing.
    #[arg(help_heading = FILING, long, value_name = "DIR", env = SHOP_VARIABLE)]
    pub(crate) shop: Option<PathBuf>,
    /// Whether the shop is the one that the environment names, for every verb, and not one that was asked for here.
    #[arg(skip)]
    pub(crate) shop_is_usual: bool,
    /// Machine, as the shop calls it; where the plan tells none, figures go by its throw and pad. Default: the plan's, or what was
    /// filed before.
    #[arg(help_heading = FILING, long, value_name = "NAME", requires = "shop", value_parser = a_needed_name)]
    pub(crate) machine: Option<String>,
    /// Vehicle, as the shop calls it.
    #[arg(help_heading = FILING, long, value_name = "LABEL", requires = "shop", value_parser = a_needed_name)]
    pub(crate) vehicle: Option<String>,
    /// Pad, as the shop calls it.
    #[arg(help_heading = FILING, long, value_name = "NAME", requires = "shop", value_parser = a_needed_name)]
    pub(crate) pad: Option<String>,
    /// Liquid, as the shop calls it.
    #[arg(help_heading = FILING, long, value_name = "NAME", requires = "shop", value_parser = a_needed_name)]
    pub(crate) liquid: Option<String>,
    /// The trainer's session: others can be shown beside it.
    #[arg(help_heading = FILING, long, requires = "shop")]
    pub(crate) trainer: bool,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  steadypass shop init --shop ~/shop --name \"Corner Shop\"\n  \
                        steadypass shop status --shop ~/shop --all")]
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
    /// Describes a vehicle anew, where it was told wrongly or more is known by now; what is not told stays.
    Describe(DescribeArgs),
    /// Takes a name away that nothing uses, or a session that should not have been filed.
    #[command(after_help = "Examples:\n  steadypass shop remove --shop ~/shop technician Robni\n  \
                            steadypass shop remove --shop ~/shop session 12\n\n\
                            A name that sessions, tries, readings or notes use stays; `shop rename --merge` puts them under \
                            another name first. A session goes with its figures and all parts of its recording, which itself \
                            is not touched; one that tries or typed notes are on stays until they are taken away.")]
    Remove {
        #[command(flatten)]
        shop: ShopFolder,
        /// What is removed.
        #[arg(value_enum)]
        what: RemoveWhat,
        /// Its name; of a session its number in `shop status --all`.
        #[arg(value_parser = a_needed_name)]
        name: String,
    },
    /// Sets the shop's name, units, logo, care advice, gauge repeatability or film limit.
    #[command(after_help = "Examples:\n  steadypass shop set --shop ~/shop units us\n  \
                            steadypass shop set --shop ~/shop gauge-sd-um 1.2\n  \
                            steadypass shop set --shop ~/shop care \"Wash by hand with two buckets.\"")]
    Set {
        #[command(flatten)]
        shop: ShopFolder,
        /// name, units, logo, care, gauge-sd-um or film-floor-um.
        key: String,
        /// Its value; of units si or us, which every verb then goes by where --units is not given; of film in µm, or with its
        /// unit as in 3.9mil; of a logo the file, PNG or JPEG, which is copied into the shop.
        /// "" for none.
        value: String,
    },
    /// Marks a session as the trainer's.
    #[command(after_help = "Example:\n  steadypass shop trainer --shop ~/shop 12")]
    Trainer {
        #[command(flatten)]
        shop: ShopFolder,
        /// Its number in `shop status --all`.
        #[arg(value_parser = a_whole_number::<i64>)]
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
        #[arg(value_parser = a_whole_number::<i64>)]
        session: i64,
        /// Who worked.
        #[arg(value_parser = a_needed_name)]
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
        #[arg(long, default_value_t = 1, value_parser = a_whole_number::<u64>)]
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
    #[arg(value_parser = a_needed_name)]
    pub(crate) name: String,
    /// Machine: orbital or rotary.
    #[arg(long)]
    pub(crate) kind: Option<String>,
    /// Orbital machine: diameter of the orbit, mm.
    #[arg(long, value_parser = a_number)]
    pub(crate) throw_mm: Option<f64>,
    /// Machine: size of a pad it is used with, mm; may be given several times.
    #[arg(long, value_parser = a_number)]
    pub(crate) pad_mm: Vec<f64>,
    /// Pad or liquid: place in the shop's own order of aggressiveness, 1 = mildest.
    #[arg(long, value_parser = a_whole_number::<i64>)]
    pub(crate) place: Option<i64>,
    /// Vehicle: clear-coat, single-stage, respray or unknown.
    #[arg(long, default_value = "unknown")]
    pub(crate) paint: String,
    /// Vehicle: year the paint was put on.
    #[arg(long, value_parser = a_paint_year)]
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

#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  steadypass shop describe --shop ~/shop \"saloon A\" --hardness hard --year 2019\n\n\
                        Its label is changed with `shop rename`."
)]
pub(crate) struct DescribeArgs {
    #[command(flatten)]
    pub(crate) shop: ShopFolder,
    /// Vehicle, as the shop calls it.
    #[arg(value_parser = a_needed_name)]
    pub(crate) vehicle: String,
    /// clear-coat, single-stage, respray or unknown.
    #[arg(long)]
    pub(crate) paint: Option<String>,
    /// Year the paint was put on; "" or unknown where it is not known after all.
    #[arg(long, value_parser = a_paint_year_if_any)]
    pub(crate) year: Option<PaintYear>,
    /// dark, medium, light or unknown.
    #[arg(long)]
    pub(crate) colour: Option<String>,
    /// soft, medium, hard or unknown, as found so far.
    #[arg(long)]
    pub(crate) hardness: Option<String>,
    /// Whose it is; never exported. "" for nobody's.
    #[arg(long)]
    pub(crate) owner: Option<String>,
    /// Anything else; "" for nothing.
    #[arg(long)]
    pub(crate) note: Option<String>,
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

/// What is removed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum RemoveWhat {
    Name(AddWhat),
    Session,
}

/// What is renamed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum RenameWhat {
    Name(AddWhat),
    Panel,
}

/// All that can be added, and what else there is to choose from.
fn names_and<T>(of_name: fn(AddWhat) -> T, other: T) -> Vec<T> {
    AddWhat::value_variants().iter().copied().map(of_name).chain([other]).collect()
}

impl ValueEnum for RemoveWhat {
    fn value_variants<'a>() -> &'a [Self] {
        static ALL: LazyLock<Vec<RemoveWhat>> = LazyLock::new(|| names_and(RemoveWhat::Name, RemoveWhat::Session));
        &ALL
    }

    fn to_possible_value(&self) -> Option<PossibleValue> {
        match self {
            Self::Name(name) => name.to_possible_value(),
            Self::Session => Some(PossibleValue::new("session").help("What was filed of a recording")),
        }
    }
}

impl ValueEnum for RenameWhat {
    fn value_variants<'a>() -> &'a [Self] {
        static ALL: LazyLock<Vec<RenameWhat>> = LazyLock::new(|| names_and(RenameWhat::Name, RenameWhat::Panel));
        &ALL
    }

    fn to_possible_value(&self) -> Option<PossibleValue> {
        match self {
            Self::Name(name) => name.to_possible_value(),
            Self::Panel => Some(PossibleValue::new("panel").help("A panel, of a vehicle or of work without one")),
        }
    }
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
    /// Panel: of which vehicle. Without it, that of work of which no vehicle was told.
    #[arg(long, value_name = "LABEL", value_parser = a_needed_name)]
    pub(crate) vehicle: Option<String>,
    /// Put it together with the one that is called so already, which keeps what is known about it. Cannot be taken back.
    #[arg(long)]
    pub(crate) merge: bool,
}

impl FileArgs {
    /// Whether anything is said about what is to be filed.
    pub(crate) fn says_anything(&self) -> bool {
        let names = [&self.machine, &self.vehicle, &self.pad, &self.liquid];
        self.trainer || names.iter().any(|name| name.is_some())
    }

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
