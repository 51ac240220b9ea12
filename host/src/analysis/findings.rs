//! What the analysis hands out. `None` always means "not known"; a figure that could be wrong is left out.

/// A figure and its standard deviation, same unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// Best estimate.
    pub value: f64,
    /// One standard deviation.
    pub sd: f64,
}

impl Measured {
    /// What it and another measure of the same figure say together, if neither errs with the other.
    pub(super) fn and(self, other: Self) -> Self {
        let (own, its) = (self.sd.powi(-2), other.sd.powi(-2));
        Self { value: (own * self.value + its * other.value) / (own + its), sd: (own + its).powf(-0.5) }
    }
}

/// Half width of a 90 % interval, standard deviations.
pub(crate) const Z90: f64 = 1.645;

/// A figure between the bounds of its 90 % interval, same unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Lower bound.
    pub lo: f64,
    /// Best estimate.
    pub value: f64,
    /// Upper bound.
    pub hi: f64,
}

/// What the turns of a pass say where a told stroke length does not agree with them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LengthDoubt {
    /// Mean length of a stroke as the turns have it, m, with its 90 % interval.
    pub by_turns_m: Interval,
    /// Whether the turns of this pass, or of one worked in one go with it, contradict the told length clearly. Then all figures are
    /// as though none had been told; otherwise they go by it all the same, and their intervals take in what the turns say.
    pub clear: bool,
}

impl Interval {
    /// The same estimate, as wide as to take in another's interval.
    pub(super) fn reaching(self, other: Self) -> Self {
        Self { lo: self.lo.min(other.lo), hi: self.hi.max(other.hi), ..self }
    }
}

/// What the machine is doing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum State {
    /// Motor off.
    #[default]
    Still,
    /// Motor on, not travelling.
    Running,
    /// Motor on, travelling.
    Working,
}

impl State {
    /// The word in `series.csv`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Still => "still",
            Self::Running => "running",
            Self::Working => "working",
        }
    }
}

/// Where a stroke lay in its pass, as far as can be told while the pass is being worked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StrokePlace {
    /// Its length, m.
    pub length_m: f64,
    /// Its distance from the pass's first stroke, across, m; the sign says to which side.
    pub across_m: f64,
    /// Direction of travel, degrees anticlockwise from the first stroke of the section; `None` when nothing compares them.
    pub direction_deg: Option<f64>,
}

/// Ten times a second, from what has been seen so far and nothing later: the figures guidance and the live view act on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LiveTick {
    /// Time, s since the first sample.
    pub t_s: f64,
    /// What the machine is doing.
    pub state: State,
    /// Orbit rate (rotary: speed), per minute.
    pub orbit_opm: Option<Measured>,
    /// Mean speed of pad against paint, m/s.
    pub pad_speed_mps: Option<f64>,
    /// Free rotation of an orbital machine's pad, Hz.
    pub pad_spin_hz: Option<f64>,
    /// The pad was seen to spin in this pass, and does not any more while the machine runs.
    pub spin_lost: bool,
    /// Running estimate of the current stroke's rate, m/s.
    pub traverse_mps: Option<Interval>,
    /// Rate of the last finished stroke, m/s.
    pub last_stroke_mps: Option<Interval>,
    /// Where the last finished stroke lay.
    pub last_stroke_place: Option<StrokePlace>,
    /// A stroke has ended that was not told of before, the last one; it may have ended seconds ago. One whose account is only
    /// revised is told of once.
    pub stroke_ended: bool,
    /// Strokes finished in the current pass, as far as can be told now: fewer with a new pass, or when one turns out to be none.
    pub strokes: u32,
    /// Strokes finished in the recording, as far as can be told now: fewer when some turn out to be none.
    pub strokes_in_all: u32,
    /// Passes of the recording, the current one included, as far as can be told now; as [`Pass::pass`] counts them.
    pub passes: u32,
    /// Times a section was begun so far, by the mark button or because the motor had stood.
    pub sections_begun: u32,
    /// Spot temperature, °C, corrected for emissivity.
    pub surface_c: Option<f64>,
    /// Rise over the section's start, K.
    pub surface_rise_k: Option<f64>,
    /// Highest rise expected within ten seconds, or in the stroke to come, K.
    pub rise_in_10s_k: Option<Measured>,
    /// The hottest place this section, as a rise that decays as a panel cools, K; never below the spot's own.
    pub hot_side_rise_k: Option<f64>,
    /// Seconds until the panel is back within 2 K of its start, as far as can be told.
    pub cool_in_s: Option<f64>,
    /// The sensor's own temperature, °C.
    pub ambient_c: Option<f64>,
    /// Vibration of the housing, m/s² rms over three axes, unweighted.
    pub vibration_mps2: Option<f64>,
    /// Seconds since the accelerometer's last good sample.
    pub silent_s: f64,
}

/// Settled results, in order of time within each kind.
#[derive(Clone, Debug, PartialEq)]
pub enum Finding {
    /// One row per 0.1 s.
    Row(SeriesRow),
    /// A stroke of a pass. All strokes of a pass come before the pass.
    Stroke(Stroke),
    /// A finished pass.
    Pass(Box<Pass>),
    /// The arm went to and fro too quickly for strokes. After the strokes of that time.
    ToAndFro(ToAndFro),
}

/// Time from one row of the series to the next, s.
pub(crate) const ROW_S: f64 = 0.1;

/// One row of `series.csv`: 0.1 s of the recording, with hindsight.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SeriesRow {
    /// Time, s since the first sample.
    pub t_s: f64,
    /// What the machine was doing.
    pub state: State,
    /// Orbit rate, per minute.
    pub orbit_opm: Option<Measured>,
    /// Mean speed of pad against paint, m/s.
    pub pad_speed_mps: Option<f64>,
    /// Free rotation of the pad, Hz.
    pub pad_spin_hz: Option<f64>,
    /// Arm speed along the stroke, m/s.
    pub traverse_mps: Option<Measured>,
    /// Spot temperature, °C.
    pub surface_c: Option<f64>,
    /// Rise over the section's start, K.
    pub surface_rise_k: Option<f64>,
    /// The sensor's own temperature, °C.
    pub ambient_c: Option<f64>,
    /// Vibration, m/s² rms, unweighted.
    pub vibration_mps2: Option<f64>,
}

/// One stroke.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// Number of its pass, from 1.
    pub pass: u32,
    /// Number in the pass, from 1.
    pub stroke: u32,
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Direction of travel, degrees anticlockwise from the first stroke of the section, seen looking at the panel.
    pub direction_deg: Option<f64>,
    /// Direction of travel as the machine lies in the hand: degrees anticlockwise from the sensor's x axis, seen looking at
    /// the panel. Tells which side of the pad leads.
    pub machine_deg: Option<f64>,
    /// Length, m.
    pub length_m: Option<f64>,
    /// Length over time with its 90 % interval, m/s.
    pub traverse_mps: Option<Interval>,
    /// Median orbit rate, per minute.
    pub orbit_opm: Option<f64>,
    /// Mean spot temperature, °C.
    pub surface_c: Option<f64>,
    /// Whether the thermometer's spot trailed the pad (saw paint just worked), where that can be told.
    pub spot_trails: Option<bool>,
    /// Whether its start, its end are only supposed: not seen, and set so that the stroke lasted as long as the others of its
    /// stretch. The turn at the other end says that it was there; its interval is wider for it.
    pub supposed: [bool; 2],
}

impl Stroke {
    /// The first stroke of a recording, of ten seconds, of which nothing else is known.
    #[cfg(test)]
    pub(crate) fn untold() -> Self {
        Self {
            pass: 1,
            stroke: 1,
            start_s: 0.0,
            end_s: 10.0,
            direction_deg: None,
            machine_deg: None,
            length_m: None,
            traverse_mps: None,
            orbit_opm: None,
            surface_c: None,
            spot_trails: None,
            supposed: [false; 2],
        }
    }
}

/// Where the pad's centre was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrackPoint {
    /// Time, s.
    pub t_s: f64,
    /// Along the section's first stroke, m, from the middle of the worked area.
    pub x_m: f64,
    /// Across it, m.
    pub y_m: f64,
    /// Speed of pad against paint then, m/s.
    pub pad_speed_mps: Option<f64>,
}

/// One pass.
#[derive(Clone, Debug, PartialEq)]
pub struct Pass {
    /// Number, from 1.
    pub pass: u32,
    /// Number of its section, from 1.
    pub section: u32,
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Direction of its first stroke, degrees from the section's first stroke; `None` where the stream broke since then.
    pub direction_deg: Option<f64>,
    /// Strokes in it.
    pub strokes: u32,
    /// Mean arm speed with its 90 % interval, m/s.
    pub traverse_mean_mps: Option<Interval>,
    /// Where a stroke length was told that does not agree with the turns.
    pub length_doubt: Option<LengthDoubt>,
    /// Coefficient of variation of the strokes' speeds.
    pub traverse_cv: Option<f64>,
    /// Orbit rate, per minute.
    pub orbit_median_opm: Option<f64>,
    /// 5 % quantile.
    pub orbit_p05_opm: Option<f64>,
    /// 95 % quantile.
    pub orbit_p95_opm: Option<f64>,
    /// Orbit rate while running free just before the pad took load, per minute; `None` where the load was not seen to come.
    pub orbit_free_opm: Option<f64>,
    /// Mean pad speed, m/s.
    pub pad_speed_mean_mps: Option<f64>,
    /// Panel temperature at the section's start, °C.
    pub surface_start_c: Option<f64>,
    /// Highest spot temperature, °C.
    pub surface_peak_c: Option<f64>,
    /// Highest rise, K.
    pub surface_rise_k: Option<f64>,
    /// Share of its time in which the spot's rise is known, 0 to 1.
    pub surface_seen_share: f64,
    /// Vibration, m/s² rms, unweighted.
    pub vibration_mps2: Option<f64>,
    /// The pad's way over the section, about ten points a second; empty where it cannot be told.
    pub track: Vec<TrackPoint>,
    /// One standard deviation of a track point across the section, m.
    pub track_sd_m: Option<f64>,
}

/// Rubbing warms paint. Of 748 drawn passes (seeds 300 to 323, 350 to 373 and 1200 to 1205) in which the spot saw worked paint none
/// warmed it by less than 1.66 K, while spots beside it saw 1.17 K at most, next to paint up to 35 K warmer. Common practice, no
/// published source.
const LEAST_WARMING_K: f64 = 1.4;

/// A pass has some ten strokes at most; where more than one of them may have gone unseen its highest rise is not known.
const SEEN_SHARE: f64 = 0.9;

/// How warm the worked paint got in a pass, as far as the spot tells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Warmth {
    /// No rise is known.
    Unknown,
    /// The spot saw no warming, so it looked beside the worked paint.
    Beside,
    /// It was read for a part of the pass only: at least so warm, K.
    InPart {
        /// Highest rise that was read, K.
        rise_k: f64,
        /// Share of the pass's time in which it was read, 0 to 1.
        share: f64,
    },
    /// Highest rise, K.
    Seen(f64),
}

impl Pass {
    /// How warm the worked paint got.
    #[must_use]
    pub fn warmth(&self) -> Warmth {
        match (self.surface_rise_k, self.surface_seen_share) {
            (None, _) => Warmth::Unknown,
            (Some(rise_k), share) if share < SEEN_SHARE => Warmth::InPart { rise_k, share },
            (Some(rise_k), _) if rise_k < LEAST_WARMING_K => Warmth::Beside,
            (Some(rise_k), _) => Warmth::Seen(rise_k),
        }
    }

    /// How far the pad's way may be off across the strokes, with 90 % certainty, m.
    #[must_use]
    pub fn sideways_m(&self) -> Option<f64> {
        self.track_sd_m.filter(|sd| sd.is_finite()).map(|sd| Z90 * sd)
    }

    /// The first pass of a recording, of ten seconds and one stroke, of which nothing else is known.
    #[cfg(test)]
    pub(crate) fn untold() -> Self {
        Self {
            pass: 1,
            section: 1,
            start_s: 0.0,
            end_s: 10.0,
            direction_deg: None,
            strokes: 1,
            traverse_mean_mps: None,
            length_doubt: None,
            traverse_cv: None,
            orbit_median_opm: None,
            orbit_p05_opm: None,
            orbit_p95_opm: None,
            orbit_free_opm: None,
            pad_speed_mean_mps: None,
            surface_start_c: None,
            surface_peak_c: None,
            surface_rise_k: None,
            surface_seen_share: 1.0,
            vibration_mps2: None,
            track: Vec::new(),
            track_sd_m: None,
        }
    }
}

/// A stretch with the motor on in which the arm plainly went to and fro, too quickly for single strokes to be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToAndFro {
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// How many times it went to and fro (once to and once fro is one), as many as the rate says.
    pub cycles: f64,
    /// How many times a second on average, with its 90 % interval.
    pub rate_hz: Interval,
}
