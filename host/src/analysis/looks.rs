//! Which looks of the thermometer tell something new: tables hold a value over many rows, or draw a line from one to the next.

use super::reading::SurfaceLook;

/// A thermometer gives a new value 10 to 20 times a second. Looks closer together than this are the value before held or drawn
/// out over the rows of a table, not readings that bear it out, s.
const NEWS_S: f64 = 0.03;

/// A value held in looks that close counts once, and again after so long, s: with a coarse display the panel may really stay on it,
/// and without any reading the filter would let go of it.
const HELD_S: f64 = 0.5;

/// The looks that came last.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    /// The last of all.
    last: SurfaceLook,
    /// When the last one counted, µs.
    counted_us: f64,
    /// When the last one with a reading counted, µs.
    read_us: f64,
}

impl Seen {
    /// What is remembered once a look has come, and whether it tells something that those before it did not.
    pub(super) fn with(before: Option<Self>, look: &SurfaceLook) -> (Self, bool) {
        let has_reading = look.apparent_c.is_some();
        let read_us = if has_reading { look.t_us } else { f64::NEG_INFINITY };
        let fresh = Self { last: *look, counted_us: look.t_us, read_us };
        // One that goes back is for whoever reads it to judge.
        let Some(seen) = before.filter(|seen| look.t_us >= seen.last.t_us) else { return (fresh, true) };
        let since_s = |t_us: f64| (look.t_us - t_us) / 1e6;
        let same = (look.apparent_c, look.ambient_c) == (seen.last.apparent_c, seen.last.ambient_c);
        let wait_s = if same && since_s(seen.last.t_us) < NEWS_S { HELD_S } else { NEWS_S };
        // Rows without a reading between those with one do not stand in its way.
        let counts = since_s(if has_reading { seen.read_us } else { seen.counted_us }) >= wait_s;
        let seen = match (counts, has_reading) {
            (true, true) => fresh,
            (true, false) => Self { read_us: seen.read_us, ..fresh },
            (false, _) => Self { last: *look, ..seen },
        };
        (seen, counts)
    }
}
