//! Surface temperature: from looks of the thermometer to spot temperature, rise, hot side and look-ahead.
//!
//! # Data flow
//!
//! ```text
//! SurfaceLook ─► emissivity ─► queue ─┬─► spot filter ──► surface_c, now and settled
//!                                     ├─► start of the section ──► rise
//!                                     └─► trends ─► heat: hot side, rise in 10 s, cooling time
//! ```
//!
//! [`Surface::look`] takes readings as they come; [`Surface::tick`], ten times a second, uses those up to its time and no
//! later one, so the result does not depend on how the stream was sliced. Each tick hands out what is known now and, a
//! fixed [`SETTLE_S`] later, the same with hindsight. Memory is a few seconds of readings.

use std::collections::VecDeque;

use super::emissivity::object_c;
use super::heat::{Heat, LONG_S, Motion, SHORT_S, Trend};
use super::looks::Seen;
use super::spot::{LAG_S, READING_SD_K, Spot};
use super::start::Start;
use super::warming::{self, FIT_S};
use super::{Measured, Setup, SurfaceLook};

/// Hindsight of the settled figures, s: past it a later reading changes nothing (the filter forgets within half a second).
pub(crate) const SETTLE_S: f64 = 1.2;

/// Looks a second that the rise takes: five within the two seconds that tell the panel's temperature at the start.
pub(crate) const JUDGED_FROM_HZ: f64 = 2.5;

/// Looks a second that the look-ahead takes: four within the shorter of its windows.
pub(crate) const FORESEEN_FROM_HZ: f64 = 5.0;

/// Temperatures outside this are not paint under a polisher but a fault, °C.
const PLAUSIBLE_C: std::ops::RangeInclusive<f64> = -40.0..=200.0;

/// For how long an ambient reading stands in for one that failed, s: the can's temperature changes over minutes.
const AMBIENT_KEEPS_S: f64 = 30.0;

/// Readings kept waiting for a tick; at 20 Hz more than a minute. Beyond it the oldest are dropped (and counted).
const QUEUE: usize = 2048;

/// What is known at a tick, from what has been read up to it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct SurfaceNow {
    /// Spot temperature, °C.
    pub(crate) surface_c: Option<f64>,
    /// Rise over the section's start, K.
    pub(crate) rise_k: Option<f64>,
    /// Highest rise expected within ten seconds, or in the stroke to come, K.
    pub(crate) rise_in_10s_k: Option<Measured>,
    /// The section's hottest place as far as it was seen, cooling since, K; never below the spot's own rise.
    pub(crate) hot_side_rise_k: Option<f64>,
    /// Seconds until it is within 2 K of the start.
    pub(crate) cool_in_s: Option<f64>,
    /// The sensor's own temperature, °C.
    pub(crate) ambient_c: Option<f64>,
}

/// The same moment with hindsight.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct SurfaceSettled {
    /// The tick it belongs to, µs.
    pub(crate) t_us: f64,
    /// Spot temperature, °C.
    pub(crate) surface_c: Option<f64>,
    /// Temperature of the panel at the section's start, °C.
    pub(crate) start_c: Option<f64>,
    /// Rise over it, K.
    pub(crate) rise_k: Option<f64>,
    /// The sensor's own temperature, °C.
    pub(crate) ambient_c: Option<f64>,
}

/// How many looks came to what.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SurfaceCounts {
    /// Looks taken; of a value that is held from one to the next only the first.
    pub looks: u64,
    /// Failed looks: flagged by the sensor, implausible, without a reflected temperature, or out of order.
    pub failed: u64,
    /// Single readings far from their neighbours, held back.
    pub outliers: u64,
    /// Times of the first and the last usable reading, s.
    pub read_s: Option<(f64, f64)>,
    /// Lowest and highest usable reading, °C.
    pub read_c: Option<(f64, f64)>,
}

#[derive(Clone, Copy, Debug)]
struct Waiting {
    t_us: f64,
    surface_c: Option<f64>,
    ambient_c: Option<f64>,
}

/// A tick whose hindsight is not complete.
#[derive(Clone, Copy, Debug)]
struct Unsettled {
    t_us: f64,
    ambient_c: Option<f64>,
    /// Whether its section has ended since; then its start is final.
    ended: bool,
    start_c: Option<f64>,
}

/// Surface temperature of one recording.
#[derive(Clone, Debug)]
pub(crate) struct Surface {
    emissivity: f64,
    pad_diameter_m: f64,
    seen: Option<Seen>,
    queue: VecDeque<Waiting>,
    ambient: Option<(f64, f64)>,
    spot: Spot,
    /// Readings of the last few seconds: time (s) and temperature (°C).
    recent: VecDeque<(f64, f64)>,
    start: Start,
    heat: Heat,
    unsettled: VecDeque<Unsettled>,
    counts: SurfaceCounts,
}

impl Surface {
    /// Begins a recording.
    pub(crate) fn new(setup: &Setup) -> Self {
        Self {
            emissivity: setup.emissivity,
            pad_diameter_m: setup.machine.pad_diameter_m,
            seen: None,
            queue: VecDeque::new(),
            ambient: None,
            spot: Spot::default(),
            recent: VecDeque::new(),
            start: Start::default(),
            heat: Heat::new(setup.machine.pad_diameter_m),
            unsettled: VecDeque::new(),
            counts: SurfaceCounts::default(),
        }
    }

    /// Looks so far.
    pub(crate) fn counts(&self) -> SurfaceCounts {
        self.counts
    }

    /// Takes one look. Times are those of the recording and must not go back.
    pub(crate) fn look(&mut self, look: &SurfaceLook) {
        if let Some(ambient) = look.ambient_c.map(f64::from).filter(|c| PLAUSIBLE_C.contains(c)) {
            self.ambient = Some((look.t_us, ambient));
        }
        let (seen, counts) = Seen::with(self.seen, look);
        self.seen = Some(seen);
        if !counts {
            return;
        }
        self.counts.looks += 1;
        let reflected = self.ambient.filter(|(t_us, _)| (look.t_us - t_us) / 1e6 <= AMBIENT_KEEPS_S);
        let surface_c = look.apparent_c.map(f64::from).and_then(|apparent| match (look.corrected, reflected) {
            (true, _) => Some(apparent),
            (false, Some((_, reflected))) => object_c(apparent, reflected, self.emissivity),
            (false, None) => None,
        });
        let surface_c = surface_c.filter(|c| PLAUSIBLE_C.contains(c));
        let at_s = look.t_us / 1e6;
        match surface_c {
            Some(c) => {
                let SurfaceCounts { read_s, read_c, .. } = &mut self.counts;
                *read_s = Some((read_s.map_or(at_s, |(first, _)| first), at_s));
                *read_c = Some(read_c.map_or((c, c), |(lo, hi)| (lo.min(c), hi.max(c))));
            }
            None => self.counts.failed += 1,
        }
        if self.queue.len() == QUEUE {
            self.queue.pop_front();
            self.counts.failed += 1;
        }
        let ambient_c = self.ambient.map(|(_, ambient)| ambient);
        self.queue.push_back(Waiting { t_us: look.t_us, surface_c, ambient_c });
    }

    /// A new section starts: the next readings with the machine at rest are its start.
    pub(crate) fn new_section(&mut self) {
        let start_c = std::mem::take(&mut self.start).celsius();
        for tick in self.unsettled.iter_mut().filter(|tick| !tick.ended) {
            (tick.ended, tick.start_c) = (true, start_c);
        }
        self.heat.new_section();
    }

    /// The stream was interrupted; the panel is the same, but nothing is known about the time between.
    pub(crate) fn interrupted(&mut self) {
        self.spot.reset();
        self.recent.clear();
        self.heat.interrupted();
    }

    /// Ten times a second, in order: what is known at `t_us`, and a moment that has settled, if one has.
    pub(crate) fn tick(&mut self, t_us: f64, motion: Motion) -> (SurfaceNow, Option<SurfaceSettled>) {
        let mut ambient_c = self.unsettled.back().and_then(|tick| tick.ambient_c);
        while let Some(look) = self.queue.front().copied().filter(|look| look.t_us <= t_us) {
            self.queue.pop_front();
            ambient_c = look.ambient_c.or(ambient_c);
            if let Some(surface_c) = look.surface_c {
                self.read(look.t_us / 1e6, surface_c, motion);
            }
        }
        let t_s = t_us / 1e6;
        while self.recent.front().is_some_and(|(old, _)| t_s - old > FIT_S) {
            self.recent.pop_front();
        }

        let surface_c = self.spot.now(t_s);
        let start_c = self.start.celsius();
        let rise_k = surface_c.zip(start_c).map(|(surface, start)| surface - start);
        let long = start_c.and_then(|start| self.trend(t_s, LONG_S, start));
        let hot_side_rise_k = self.heat.hot_side(t_s, rise_k);
        self.heat.see(t_s, rise_k, motion);
        self.heat.watch_cooling(t_s, long, motion.state);
        let now = SurfaceNow {
            surface_c,
            rise_k,
            rise_in_10s_k: self.ahead(t_s, start_c, long, motion),
            hot_side_rise_k,
            cool_in_s: self.heat.cool_in_s(),
            ambient_c,
        };
        self.unsettled.push_back(Unsettled { t_us, ambient_c, ended: false, start_c: None });
        let due = self.unsettled.front().is_some_and(|tick| t_us - tick.t_us >= SETTLE_S * 1e6);
        (now, if due { self.settle() } else { None })
    }

    /// The moments that are left when the recording ends: call until `None`.
    pub(crate) fn settle(&mut self) -> Option<SurfaceSettled> {
        let Unsettled { t_us, ambient_c, ended, start_c } = self.unsettled.pop_front()?;
        let surface_c = self.spot.settled(t_us / 1e6);
        let start_c = if ended { start_c } else { self.start.celsius() };
        let rise_k = surface_c.zip(start_c).map(|(surface, start)| surface - start);
        Some(SurfaceSettled { t_us, surface_c, start_c, rise_k, ambient_c })
    }

    fn read(&mut self, t_s: f64, surface_c: f64, motion: Motion) {
        if self.recent.back().is_some_and(|(last, _)| t_s <= *last) {
            self.counts.failed += 1;
            return;
        }
        if self.spot.read(t_s, surface_c) {
            self.start.read(t_s, surface_c, motion.state);
            self.recent.push_back((t_s, surface_c));
        } else {
            self.counts.outliers += 1;
        }
    }

    fn ahead(&mut self, t_s: f64, start_c: Option<f64>, long: Option<Trend>, motion: Motion) -> Option<Measured> {
        let (start_c, long) = (start_c?, long?);
        let short = self.trend(t_s, SHORT_S, start_c)?;
        let rises = self.recent.iter().map(|(t, c)| (*t, c - start_c));
        let pad_diameter_m = self.pad_diameter_m;
        let fit = |arm_mps, expected| warming::fit(rises, t_s, pad_diameter_m, arm_mps, expected);
        Some(self.heat.ahead(t_s, short, long, motion, fit))
    }

    /// Least-squares line through the last `window_s` of readings, K above `start_c`.
    fn trend(&self, t_s: f64, window_s: f64, start_c: f64) -> Option<Trend> {
        const ENOUGH: usize = 4;
        let from = self.recent.partition_point(|(t, _)| t_s - t > window_s);
        let points = || self.recent.range(from..);
        let n = points().count();
        if n < ENOUGH {
            return None;
        }
        let mean_t = points().map(|(t, _)| t - t_s).sum::<f64>() / n as f64;
        let mean_c = points().map(|(_, c)| c).sum::<f64>() / n as f64;
        let spread: f64 = points().map(|(t, _)| (t - t_s - mean_t).powi(2)).sum();
        let moment: f64 = points().map(|(t, c)| (t - t_s - mean_t) * (c - mean_c)).sum();
        let slope_k_s = moment / spread;
        // The line is that of the readings, which show the surface as it was one lag before.
        let rise_k = mean_c - start_c + slope_k_s * (LAG_S - mean_t);
        Some(Trend { rise_k, slope_k_s, slope_sd_k_s: READING_SD_K / spread.sqrt() })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::State;
    use super::super::worked_panel::{looks, motion, run, seen};
    use super::*;

    fn rms(errors: impl Iterator<Item = f64>) -> f64 {
        let (sum, n) = errors.fold((0.0, 0), |(sum, n), e| (sum + e * e, n + 1));
        (sum / f64::from(n)).sqrt()
    }

    #[test]
    fn the_spot_is_followed_through_noise_lag_and_emissivity() {
        let setup = Setup { emissivity: 0.93, ..Setup::default() };
        for seed in 0..5 {
            let mut surface = Surface::new(&setup);
            let (live, settled) = run(&mut surface, &looks(60.0, 24.0, 1.5, 0.93, seed), 60.0);
            assert_eq!((live.len(), settled.len()), (600, 600));
            let truth = |i: usize| 24.0 + seen((i + 1) as f64 * 0.1, 1.5);
            let late = rms(settled.iter().enumerate().map(|(i, row)| row.surface_c.unwrap() - truth(i)));
            let now = rms(live.iter().enumerate().map(|(i, now)| now.surface_c.unwrap() - truth(i)));
            // Worst of the five: 0.09 and 0.23 K; the plain readings are 0.27 K off.
            assert!(late < 0.15, "{late}");
            assert!(now < 0.30, "{now}");
            let peak = settled.iter().filter_map(|row| row.rise_k).fold(f64::MIN, f64::max);
            assert!((peak - 1.5 * 6.5).abs() < 0.5, "{peak}");
            assert!((settled[0].start_c.unwrap() - 24.0).abs() < 0.1);
        }
    }

    #[test]
    fn a_leading_spot_does_not_cool_the_panel() {
        let mut surface = Surface::new(&Setup::default());
        let (live, _) = run(&mut surface, &looks(33.0, 24.0, 1.5, 0.93, 1), 33.0);
        // At 31 s the spot leads and sees cool paint; the panel was 9.75 K warmer 8 s ago.
        let now = live[309];
        assert!(now.rise_k.unwrap() < 0.5, "{now:?}");
        assert!((8.5..10.0).contains(&now.hot_side_rise_k.unwrap()), "{now:?}");
        assert!((120.0..260.0).contains(&now.cool_in_s.unwrap()), "{now:?}");
    }

    #[test]
    fn failed_looks_are_dropped_and_counted() {
        let mut surface = Surface::new(&Setup::default());
        let good = looks(10.0, 24.0, 0.0, 0.93, 2);
        let mut damaged = good.clone();
        for look in damaged.iter_mut().step_by(5) {
            look.apparent_c = None;
        }
        damaged[11].apparent_c = Some(1000.0);
        damaged[12].apparent_c = Some(f32::NAN);
        damaged[13].apparent_c = Some(90.0);
        damaged[14].ambient_c = None;
        let (live, settled) = run(&mut surface, &damaged, 10.0);
        let failed = damaged.len().div_ceil(5) as u64 + 2;
        let counts = surface.counts();
        assert_eq!((counts.looks, counts.failed, counts.outliers), (damaged.len() as u64, failed, 1));
        let (first_s, last_s) = counts.read_s.expect("some were read");
        assert!(first_s < 0.2 && (9.7..10.0).contains(&last_s), "{first_s} {last_s}");
        assert!(settled.iter().all(|row| (row.surface_c.unwrap() - 24.0).abs() < 0.5));
        assert!(live.iter().all(|now| now.ambient_c == Some(22.0)));
    }

    #[test]
    fn without_a_reflected_temperature_nothing_is_claimed() {
        let mut surface = Surface::new(&Setup::default());
        let mut blind = looks(3.0, 24.0, 0.0, 0.93, 3);
        for look in &mut blind {
            look.ambient_c = None;
        }
        let (live, settled) = run(&mut surface, &blind, 3.0);
        assert!(live.iter().all(|now| *now == SurfaceNow { cool_in_s: None, ..SurfaceNow::default() }));
        assert!(settled.iter().all(|row| row.surface_c.is_none() && row.rise_k.is_none()));
        for look in &mut blind {
            look.corrected = true;
        }
        let (live, _) = run(&mut Surface::new(&Setup::default()), &blind, 3.0);
        assert!(live[20].surface_c.is_some());
    }

    #[test]
    fn a_new_section_starts_from_its_own_panel() {
        let mut surface = Surface::new(&Setup::default());
        let first = looks(30.0, 24.0, 1.5, 0.93, 4);
        let (_, rows) = run(&mut surface, &first, 20.0);
        assert!((rows[150].start_c.unwrap() - 24.0).abs() < 0.1);
        surface.new_section();
        for i in 0..60 {
            let t_us = 20.5e6 + f64::from(i) * 0.1e6;
            let look = SurfaceLook { t_us, apparent_c: Some(27.0), ambient_c: Some(22.0), corrected: true };
            surface.look(&look);
            let still = Motion { state: State::Still, ..Motion::default() };
            let (now, _) = surface.tick(t_us, still);
            assert!(now.hot_side_rise_k.is_none_or(|hot| hot < 1.0), "{now:?}");
        }
        let rows: Vec<_> = std::iter::from_fn(|| surface.settle()).collect();
        assert!((rows.last().unwrap().start_c.unwrap() - 27.0).abs() < 0.05);
    }

    /// The same looks as a fast logger writes them: the last value in every row, or a line drawn from one to the next.
    fn in_every_row(looks: &[SurfaceLook], drawn_out: bool) -> Vec<SurfaceLook> {
        let row = |pair: &[SurfaceLook], i: usize| {
            let share = i as f64 / 103.0;
            let t_us = pair[0].t_us + share * (pair[1].t_us - pair[0].t_us);
            let between = |a: f32, b: f32| a + (b - a) * share as f32;
            let apparent_c = pair[0].apparent_c.zip(pair[1].apparent_c).map(|(a, b)| between(a, b));
            SurfaceLook { t_us, apparent_c: if drawn_out { apparent_c } else { pair[0].apparent_c }, ..pair[0] }
        };
        looks.windows(2).flat_map(|pair| (0..103).map(move |i| row(pair, i))).collect()
    }

    #[test]
    fn a_value_that_is_held_over_the_rows_of_a_table_counts_once() {
        let sparse = looks(30.0, 24.0, 1.5, 0.93, 6);
        let reviewed = |looks: &[SurfaceLook]| {
            let mut surface = Surface::new(&Setup::default());
            let (live, settled) = run(&mut surface, looks, 29.5);
            (live, settled, surface.counts())
        };
        let (live, settled, counts) = reviewed(&sparse);
        let held = in_every_row(&sparse, false);
        let (live_held, settled_held, counts_held) = reviewed(&held);
        let same = sparse.windows(2).filter(|pair| pair[0].apparent_c == pair[1].apparent_c).count() as u64;
        assert!(held.len() > 40_000 && counts_held.looks + same + 2 >= counts.looks, "{counts_held:?} of {counts:?}");
        assert!(counts_held.looks <= counts.looks && counts_held.failed == 0);
        for (i, (sparse, held)) in settled.iter().zip(&settled_held).enumerate().skip(20) {
            let off = sparse.surface_c.unwrap() - held.surface_c.unwrap();
            assert!(off.abs() < 0.15, "row {i}: {off}");
        }
        // How sure a forecast is goes by the readings, not by the rows.
        let sd = |now: &SurfaceNow| now.rise_in_10s_k.map(|m| m.sd);
        let ahead: Vec<_> = live.iter().zip(&live_held).filter_map(|(a, b)| sd(a).zip(sd(b))).collect();
        assert!(ahead.len() > 50 && ahead.iter().all(|(a, b)| b / a > 0.8), "{ahead:?}");

        let drawn_out = in_every_row(&sparse, true);
        assert!(reviewed(&drawn_out).2.looks <= 2 * counts.looks);
    }

    #[test]
    fn rows_with_the_surroundings_alone_do_not_stand_in_the_way_of_readings() {
        let row = |i: usize| SurfaceLook {
            t_us: i as f64 * 600.0,
            apparent_c: (i % 103 == 5).then_some(24.0 + (i / 103 % 7) as f32 * 0.02),
            ambient_c: (i % 103 != 5).then_some(22.0),
            corrected: true,
        };
        let rows: Vec<_> = (0..20_000).map(row).collect();
        let readings = rows.iter().filter(|row| row.apparent_c.is_some()).count() as u64;
        let mut surface = Surface::new(&Setup::default());
        let (live, _) = run(&mut surface, &rows, 12.0);
        let counts = surface.counts();
        assert_eq!((counts.looks - counts.failed, counts.failed), (readings, 1));
        assert!(live.iter().all(|now| now.ambient_c == Some(22.0) && now.surface_c.is_some()));
    }

    #[test]
    fn looks_as_a_thermometer_gives_them_all_count() {
        for spacing_us in [50e3, 62.5e3, 100e3] {
            let mut surface = Surface::new(&Setup::default());
            for i in 0..100 {
                let t_us = f64::from(i) * spacing_us;
                surface.look(&SurfaceLook { t_us, apparent_c: Some(24.0), ambient_c: Some(22.0), corrected: false });
                surface.tick(t_us, motion(0.0));
            }
            assert_eq!(surface.counts().looks, 100, "every {spacing_us} µs");
        }
        // A display of whole degrees: a value held for seconds is the panel's.
        let mut surface = Surface::new(&Setup::default());
        let held = |i: usize| SurfaceLook {
            t_us: i as f64 * 600.0,
            apparent_c: Some(24.0),
            ambient_c: Some(22.0),
            corrected: true,
        };
        let looks: Vec<_> = (0..10_000).map(held).collect();
        let (live, _) = run(&mut surface, &looks, 6.0);
        assert!(live.iter().all(|now| now.surface_c == Some(24.0)));
    }

    #[test]
    fn the_rise_and_the_look_ahead_take_as_many_looks_as_is_said() {
        let known = |hz: f64| {
            let mut surface = Surface::new(&Setup::default());
            let look = |i: u32| SurfaceLook {
                t_us: f64::from(i) / hz * 1e6,
                apparent_c: Some(24.0),
                ambient_c: Some(22.0),
                corrected: true,
            };
            let looks: Vec<_> = (0..(20.0 * hz) as u32).map(look).collect();
            let (live, _) = run(&mut surface, &looks, 19.0);
            let share = |known: fn(&SurfaceNow) -> bool| {
                live[100..].iter().filter(|now| known(now)).count() as f64 / (live.len() - 100) as f64
            };
            (share(|now| now.rise_k.is_some()), share(|now| now.rise_in_10s_k.is_some()))
        };
        assert_eq!(known(FORESEEN_FROM_HZ), (1.0, 1.0));
        let (judged, foreseen) = known(JUDGED_FROM_HZ);
        assert!(judged == 1.0 && foreseen < 1.0, "{judged} {foreseen}");
        let (judged, foreseen) = known(1.9);
        assert_eq!((judged, foreseen), (0.0, 0.0));
    }

    #[test]
    fn an_interruption_leaves_a_hole() {
        let mut surface = Surface::new(&Setup::default());
        let looks: Vec<_> =
            looks(12.0, 24.0, 0.0, 0.93, 5).into_iter().filter(|look| !(5.0e6..8.0e6).contains(&look.t_us)).collect();
        let (live, settled) = run(&mut surface, &looks, 12.0);
        assert!(live[62].surface_c.is_none() && live[85].surface_c.is_some());
        assert!(settled[62].surface_c.is_none() && settled[85].surface_c.is_some());
    }

    proptest! {
        /// Readings may come early and in lumps, as long as they come before the tick that needs them.
        #[test]
        fn the_result_does_not_depend_on_slicing(lumps in proptest::collection::vec(0..40usize, 1..20), seed in 0..4u64) {
            let looks = looks(20.0, 24.0, 2.0, 0.93, seed);
            let expected = run(&mut Surface::new(&Setup::default()), &looks, 20.0);
            let mut surface = Surface::new(&Setup::default());
            let (mut live, mut settled, mut fed) = (Vec::new(), Vec::new(), 0);
            for i in 1..=200usize {
                let t = i as f64 * 0.1;
                let due = looks.partition_point(|look| look.t_us <= t * 1e6);
                let until = due.max(fed).max((due + lumps[i % lumps.len()]).min(looks.len()));
                for look in &looks[fed..until] {
                    surface.look(look);
                }
                fed = until;
                let (now, row) = surface.tick(t * 1e6, motion(t));
                live.push(now);
                settled.extend(row);
            }
            settled.extend(std::iter::from_fn(|| surface.settle()));
            prop_assert_eq!((live, settled), expected);
        }
    }
}
