//! Heat that is not known though the spot looked: why, and what is said of it.

use super::super::units::duration;

/// Why a pass's warmth is not known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Unseen {
    /// The spot saw no warming, so it looked beside.
    Beside,
    /// One and the same reading all the time.
    Stuck,
    /// Read for so long, of so long, s.
    InPart { read_s: f64, all_s: f64 },
}

impl Unseen {
    /// In the headline.
    pub(super) fn finding(self) -> String {
        match self {
            Self::Beside => "the spot saw no warming: heat not known".to_owned(),
            Self::Stuck => "the thermometer's reading never changed: heat not known".to_owned(),
            Self::InPart { read_s, all_s } => {
                format!("temperature read for {} of {}: heat not known", duration(read_s), duration(all_s))
            }
        }
    }

    /// What it means, and what to do.
    pub(super) fn advice(self) -> String {
        match self {
            Self::Beside => {
                "The spot saw no warming, so it looked beside the worked paint: how warm that got is not known. \
                             Aim it nearer the pad."
                    .to_owned()
            }
            Self::Stuck => {
                "The thermometer gave one and the same reading all the time: check it and its lead. How warm the \
                            paint got is not known."
                    .to_owned()
            }
            Self::InPart { read_s, all_s } => {
                let [read, all] = [read_s, all_s].map(|s| duration(s).replace(' ', "\u{a0}"));
                format!(
                    "The temperature was read for {read} of {all} only: check the thermometer. How warm the paint got in the \
                     rest is not known."
                )
            }
        }
    }

    /// Beside the highest rise that was read.
    pub(crate) fn beside_figure(self) -> String {
        match self {
            Self::Beside => "no worked paint in view".to_owned(),
            Self::Stuck => "never changed: stuck?".to_owned(),
            Self::InPart { read_s, all_s } => format!("read for {read_s:.0} of {all_s:.0} s"),
        }
    }
}
