//! Colours, sizes and strokes of every drawing.
//!
//! The colours are the set of Okabe and Ito (Color Universal Design: how to make figures and presentations that are friendly
//! to colourblind people, 2002, revised 2008; RGB values from memory), told apart with every common kind of colour vision. Each
//! has one job, and each job also has a mark, a hatching or a word, because sheets get printed in grey.

/// The set of Okabe and Ito, of which the sheets use four.
pub mod okabe_ito {
    /// Blue: what was measured.
    pub const BLUE: &str = "#0072B2";
    /// Sky blue: its interval.
    pub const SKY_BLUE: &str = "#56B4E9";
    /// Bluish green: the target band.
    pub const GREEN: &str = "#009E73";
    /// Vermilion: outside the band, and nothing else.
    pub const VERMILION: &str = "#D55E00";
}

/// Text and axes.
pub const INK: &str = "#16191d";
/// Secondary text; 7:1 on white.
pub const SOFT: &str = "#4d545c";
/// Hairlines.
pub const HAIR: &str = "#c9ced3";
/// Paper.
pub const PAPER: &str = "#ffffff";
/// Target band: the green at 13 % on white.
pub const BAND: &str = "#dff2ec";
/// What is not known.
pub const UNKNOWN: &str = "#f3f4f5";
/// Measured.
pub const DATA: &str = okabe_ito::BLUE;
/// Interval of the measured: the sky blue, lightened.
pub const DATA_INTERVAL: &str = "#b5d9ef";
/// Edge of the target band.
pub const BAND_EDGE: &str = okabe_ito::GREEN;
/// The one accent: outside the band.
pub const ACCENT: &str = okabe_ito::VERMILION;
/// The accent as lettering: the same hue, darkened to 6:1 on white, so that it also stands out when printed in grey.
pub const ACCENT_INK: &str = "#a94200";
/// Interval of something outside the band: the vermilion at 22 % on white.
pub const ACCENT_INTERVAL: &str = "#f7dccb";

/// Steps of the rubbing map from little to much: one hue, lightness falling evenly, so that it prints in grey.
pub const MAP_STEPS: [&str; 7] = ["#e3eef7", "#c5dcee", "#a0c6e2", "#74abd2", "#4a8dbe", "#256ca4", "#0b4a80"];

/// Sizes of lettering, px on a sheet 1800 px wide. 20 px is about 9 pt on an A4 sheet printed across.
pub mod size {
    /// Sheet title.
    pub const TITLE: f64 = 52.0;
    /// The finding in one sentence, and key figures.
    pub const FINDING: f64 = 31.0;
    /// Key figures.
    pub const FIGURE: f64 = 38.0;
    /// Heads of strips.
    pub const HEAD: f64 = 25.0;
    /// Body text.
    pub const BODY: f64 = 23.0;
    /// Labels in drawings and on axes.
    pub const LABEL: f64 = 21.0;
    /// Remarks.
    pub const NOTE: f64 = 19.0;
}
