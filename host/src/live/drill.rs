//! Pace practice: so many strokes at one pace, and what came of them.
//!
//! Judged by the settled strokes (with hindsight), not by what was shown meanwhile. A stroke counts as kept when its best value
//! lies within the goal; when its 90 % interval reaches beyond the goal's edge that is said, since then it is not certain.

use std::{
    fs, io,
    path::{Path, PathBuf},
};

use serde::{Deserialize, Serialize};

use crate::{
    analysis::Stroke,
    guidance::{Band, Units},
    name,
    results::{ResultsError, write_whole},
};

/// Ending of the result beside a recording.
const ENDING: &str = "drill.json";

/// What is practised.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Goal {
    /// Pace to keep, mm/s.
    pub pace_mm_s: f64,
    /// How far off it may be, mm/s.
    pub within_mm_s: f64,
    /// Travel of a stroke, m; `None` when it was not told, then speeds are less certain.
    pub stroke_m: Option<f64>,
    /// Strokes to do.
    pub strokes: u32,
}

impl Goal {
    /// The band to keep, mm/s.
    pub fn band_mm_s(&self) -> Band {
        Band { lo: self.pace_mm_s - self.within_mm_s, hi: self.pace_mm_s + self.within_mm_s }
    }

    /// What is wrong with it, if anything.
    pub fn fault(&self) -> Option<String> {
        let pace_known = self.pace_mm_s > 0.0 && self.pace_mm_s <= 1000.0;
        if !pace_known {
            return Some(format!(
                "a pace of {} mm/s: more than 0 and up to 1000 (39.4 in/s) can be practised",
                self.pace_mm_s
            ));
        }
        if !(self.within_mm_s > 0.0 && self.within_mm_s < self.pace_mm_s) {
            return Some(format!("within {} mm/s: more than 0 and less than the pace", self.within_mm_s));
        }
        if self.stroke_m.is_some_and(|m| !(0.05..=3.0).contains(&m)) {
            return Some("a stroke of 0.05 to 3 m (2 to 118 in) can be practised".into());
        }
        (!(2..=1000).contains(&self.strokes)).then(|| format!("{} strokes: 2 to 1000 can be practised", self.strokes))
    }
}

/// One stroke of the practice.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DrillStroke {
    /// Number, from 1.
    pub stroke: u32,
    /// Start, s since the first sample.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Speed and its 90 % interval, mm/s; empty where it is not known.
    pub pace_mm_s: Option<f64>,
    /// Lower bound.
    pub pace_lo_mm_s: Option<f64>,
    /// Upper bound.
    pub pace_hi_mm_s: Option<f64>,
    /// Within the goal, by its best value.
    pub kept: Option<bool>,
    /// The interval lies wholly on one side of the goal's edges.
    pub certain: Option<bool>,
}

/// What came of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DrillResult {
    /// Local time of the start, RFC 3339.
    pub started: String,
    /// Who practised.
    pub technician: String,
    /// What was practised.
    pub goal: Goal,
    /// Strokes done, in order.
    pub strokes: Vec<DrillStroke>,
    /// Strokes whose speed is known.
    pub known: u32,
    /// Of these, strokes within the goal.
    pub kept: u32,
    /// Mean distance from the pace, mm/s: first half of the known strokes and second half.
    pub off_mm_s: Option<[f64; 2]>,
    /// Scatter of the speeds about their own mean, relative.
    pub cv: Option<f64>,
}

impl DrillResult {
    /// Judges settled strokes; more than the goal asks for are left out.
    pub fn of(started: &str, technician: &str, goal: Goal, strokes: &[Stroke]) -> Self {
        let band = goal.band_mm_s();
        let strokes: Vec<DrillStroke> = (1..)
            .zip(strokes.iter().take(goal.strokes as usize))
            .map(|(number, stroke)| {
                let rate = stroke.traverse_mps.map(|rate| [rate.lo, rate.value, rate.hi].map(|mps| mps * 1e3));
                let kept = rate.map(|[_, value, _]| band.contains(value));
                DrillStroke {
                    stroke: number,
                    start_s: stroke.start_s,
                    end_s: stroke.end_s,
                    pace_lo_mm_s: rate.map(|rate| rate[0]),
                    pace_mm_s: rate.map(|rate| rate[1]),
                    pace_hi_mm_s: rate.map(|rate| rate[2]),
                    kept,
                    certain: rate.map(|[lo, value, hi]| {
                        let inside = band.contains(lo) && band.contains(hi);
                        if band.contains(value) { inside } else { hi < band.lo || lo > band.hi }
                    }),
                }
            })
            .collect();
        let rates: Vec<f64> = strokes.iter().filter_map(|stroke| stroke.pace_mm_s).collect();
        let off = |part: &[f64]| part.iter().map(|rate| (rate - goal.pace_mm_s).abs()).sum::<f64>() / part.len() as f64;
        let (first, second) = rates.split_at(rates.len() / 2);
        Self {
            started: started.to_owned(),
            technician: technician.to_owned(),
            goal,
            known: rates.len() as u32,
            kept: strokes.iter().filter(|stroke| stroke.kept == Some(true)).count() as u32,
            off_mm_s: (!first.is_empty()).then(|| [off(first), off(second)]),
            cv: scatter(&rates),
            strokes,
        }
    }

    /// The result in a few lines; `before` are earlier results of the same practice, oldest first, `None` where this one is not kept
    /// and nothing is compared with it.
    pub fn words<'a>(&self, before: impl Into<Option<&'a [Self]>>, units: Units) -> Vec<String> {
        let Goal { pace_mm_s, within_mm_s, strokes, .. } = self.goal;
        if self.known == 0 {
            return vec![self.nothing_to_judge()];
        }
        let mut lines = vec![format!(
            "{} of {} strokes within {}",
            self.kept,
            self.known,
            units.arm_speed_within(pace_mm_s / 1e3, within_mm_s / 1e3)
        )];
        let unsure = self.strokes.iter().filter(|stroke| stroke.certain == Some(false)).count();
        if unsure > 0 {
            lines.push(format!("{unsure} so near the edge that the measurement cannot say for certain"));
        }
        if (self.known as usize) < strokes as usize {
            lines.push(format!(
                "{} of the {strokes} strokes asked for have no known speed or were not done",
                strokes - self.known
            ));
        }
        if let Some([first, second]) = self.off_mm_s {
            let [first_side, second_side] = self.sides();
            let off = |mm_s: f64| match units {
                Units::Si => format!("{mm_s:.1} mm/s"),
                Units::Us => units.arm_speed(mm_s / 1e3),
            };
            lines.push(format!(
                "Off the pace by {} in the first half ({first_side}), {} in the second ({second_side})",
                off(first),
                off(second)
            ));
        }
        if let Some(cv) = self.cv {
            lines.push(format!("Strokes differ from each other by {:.0} %", cv * 100.0));
        }
        let Some(before) = before.into() else { return lines };
        // Without a known speed, a practice is nothing to compare with.
        let before: Vec<&Self> = before.iter().filter(|earlier| earlier.known > 0).collect();
        let earlier: Vec<String> =
            before.iter().rev().take(5).rev().map(|r| format!("{} of {}", r.kept, r.known)).collect();
        if earlier.is_empty() {
            lines.push("The first time with this goal: the next one will be compared with it".into());
        } else {
            lines.push(format!("Before, with this goal: {}", earlier.join(", ")));
        }
        lines
    }

    /// That no stroke can be judged, and what to do.
    fn nothing_to_judge(&self) -> String {
        if self.strokes.is_empty() {
            return "No stroke was seen. Strokes are seen while the machine runs and the arm goes to and fro: keep the motor \
                    running through all of them, and practise again"
                .into();
        }
        format!(
            "Strokes seen: {}, none with a known speed. Make them longer or tell their travel with --stroke-length, and practise again",
            self.strokes.len()
        )
    }

    /// On which side of the pace the strokes of the first half were, and those of the second.
    fn sides(&self) -> [&'static str; 2] {
        let off: Vec<f64> =
            self.strokes.iter().filter_map(|stroke| Some(stroke.pace_mm_s? - self.goal.pace_mm_s)).collect();
        let (first, second) = off.split_at(off.len() / 2);
        [first, second].map(|half| {
            let fast = half.iter().filter(|off| **off > 0.0).count();
            let slow = half.iter().filter(|off| **off < 0.0).count();
            match (fast, slow) {
                (0, 0) => "just on it",
                (_, 0) => "too fast",
                (0, _) => "too slow",
                _ if fast > 2 * slow => "mostly too fast",
                _ if slow > 2 * fast => "mostly too slow",
                _ => "now too fast, now too slow",
            }
        })
    }

    /// Where a recording's result stands: as JSON and as a table.
    pub fn files_beside(recording: &Path) -> [PathBuf; 2] {
        [ENDING, "drill.csv"].map(|ending| recording.with_extension(ending))
    }

    /// Writes the result beside its recording, each file whole or not at all; their paths.
    ///
    /// # Errors
    /// When the disk fails.
    pub fn write_beside(&self, recording: &Path) -> Result<[PathBuf; 2], ResultsError> {
        let files = Self::files_beside(recording);
        let (json, table) = self.texts().map_err(|error| ResultsError::new(recording, error))?;
        write_whole(&files[0], &json)?;
        write_whole(&files[1], &table)?;
        Ok(files)
    }

    /// The result as JSON and as a table.
    fn texts(&self) -> io::Result<(Vec<u8>, Vec<u8>)> {
        let mut json = serde_json::to_vec_pretty(self)?;
        json.push(b'\n');
        let mut table = csv::Writer::from_writer(Vec::new());
        for stroke in &self.strokes {
            table.serialize(stroke)?;
        }
        Ok((json, table.into_inner().map_err(|error| error.into_error())?))
    }

    /// Earlier results in a folder, of the same person with the same goal, oldest first. What does not read is passed over.
    pub fn earlier(&self, folder: &Path) -> Vec<Self> {
        let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
        let Ok(files) = fs::read_dir(folder) else { return Vec::new() };
        let mut found: Vec<Self> = files
            .flatten()
            .map(|file| file.path())
            .filter(|path| path.to_string_lossy().ends_with(ENDING))
            .filter_map(|path| serde_json::from_slice(&fs::read(path).ok()?).ok())
            .filter(|other: &Self| other.goal == self.goal && name::same(&other.technician, &self.technician))
            .filter(|other| other.at().is_some_and(|at| Some(at) < self.at()))
            .collect();
        found.sort_by_key(Self::at);
        found
    }

    /// Its start as a moment: local times do not sort where the clock is put back.
    fn at(&self) -> Option<jiff::Timestamp> {
        self.started.parse().ok()
    }
}

/// Standard deviation over mean; `None` for fewer than three.
fn scatter(rates: &[f64]) -> Option<f64> {
    let count = rates.len() as f64;
    if rates.len() < 3 {
        return None;
    }
    let mean = rates.iter().sum::<f64>() / count;
    let variance = rates.iter().map(|rate| (rate - mean).powi(2)).sum::<f64>() / (count - 1.0);
    Some(variance.sqrt() / mean)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::Interval;

    const GOAL: Goal = Goal { pace_mm_s: 20.0, within_mm_s: 3.0, stroke_m: Some(0.4), strokes: 10 };

    fn stroke(mm_s: Option<f64>, half: f64) -> Stroke {
        Stroke {
            end_s: 20.0,
            length_m: Some(0.4),
            traverse_mps: mm_s.map(|v| Interval { lo: (v - half) * 1e-3, value: v * 1e-3, hi: (v + half) * 1e-3 }),
            ..Stroke::untold()
        }
    }

    fn result(started: &str, rates: &[f64]) -> DrillResult {
        let strokes: Vec<Stroke> = rates.iter().map(|rate| stroke(Some(*rate), 1.0)).collect();
        DrillResult::of(&format!("{started}+01:00"), "Technician A", GOAL, &strokes)
    }

    #[test]
    fn strokes_are_counted_and_the_halves_compared() {
        let it = result("2026-01-01T08:00:00", &[30.0, 28.0, 26.0, 24.0, 26.0, 21.0, 19.0, 20.0, 21.0, 19.0, 99.0]);
        assert_eq!((it.known, it.kept), (10, 5), "the eleventh was not asked for");
        let [first, second] = it.off_mm_s.unwrap();
        assert!((first - 6.8).abs() < 1e-9 && (second - 0.8).abs() < 1e-9);
        assert!(it.words(&[][..], Units::Si).last().is_some_and(|line| line.contains("will be compared")));
        assert!(!it.words(None, Units::Si).iter().any(|line| line.contains("compared")), "nothing of it is kept");
        let said = it.words(&[][..], Units::Si);
        assert!(said[0].starts_with("5 of 10 strokes within 20 ± 3 mm/s"));
        let off = "Off the pace by 6.8 mm/s in the first half (too fast), 0.8 mm/s in the second (now too fast, now too slow)";
        assert!(said.iter().any(|line| line == off), "{said:?}");
        // 25.4 mm in an inch: 20, 3, 6.8 and 0.8 mm/s.
        let us = it.words(&[][..], Units::Us).join(" ");
        assert!(us.contains("within 0.79 ± 0.12 in/s") && !us.contains("mm/s"), "{us}");
        assert!(us.contains("by 0.27 in/s in the first") && us.contains("0.03 in/s in the second"), "{us}");
        let slow = result("2026-01-01T08:00:00", &[12.0, 14.0, 15.0, 20.0, 20.0, 20.0]).words(&[][..], Units::Si);
        assert!(
            slow.iter().any(|line| line.contains("half (too slow)") && line.contains("second (just on it)")),
            "{slow:?}"
        );
        let mostly =
            result("2026-01-01T08:00:00", &[26.0, 26.0, 26.0, 19.0, 12.0, 12.0, 12.0, 21.0]).words(&[][..], Units::Si);
        let both = |line: &String| line.contains("(mostly too fast)") && line.contains("(mostly too slow)");
        assert!(mostly.iter().any(both), "{mostly:?}");
    }

    #[test]
    fn a_practice_without_a_stroke_seen_says_so_and_is_no_earlier_one() {
        let none = result("2026-01-01T08:00:00", &[]);
        let said = none.words(&[result("2025-12-31T08:00:00", &[20.0; 10])][..], Units::Si);
        assert!(said.len() == 1 && said[0].starts_with("No stroke was seen"), "{said:?}");
        let blank = DrillResult::of("2026-01-01T08:00:00+01:00", "", GOAL, &[stroke(None, 0.0)]);
        let said = blank.words(&[][..], Units::Si);
        assert!(said.len() == 1 && said[0].starts_with("Strokes seen: 1, none with a known speed"), "{said:?}");
        let next = result("2026-01-02T08:00:00", &[20.0; 10]).words(&[none, blank][..], Units::Si);
        assert!(next.last().unwrap().starts_with("The first time with this goal"), "{next:?}");
    }

    #[test]
    fn a_stroke_at_the_edge_is_not_certain_and_an_unknown_one_not_counted() {
        let strokes = [stroke(Some(22.5), 1.0), stroke(Some(20.0), 1.0), stroke(Some(24.5), 1.0), stroke(None, 0.0)];
        let it = DrillResult::of("2026-01-01T08:00:00+01:00", "", GOAL, &strokes);
        let certain: Vec<_> = it.strokes.iter().map(|stroke| stroke.certain).collect();
        assert_eq!(certain, [Some(false), Some(true), Some(true), None]);
        assert_eq!((it.known, it.kept), (3, 2));
        assert!(it.words(&[][..], Units::Si).iter().any(|line| line.contains("7 of the 10")));
    }

    #[test]
    fn it_is_compared_with_earlier_ones_of_the_same_person_and_goal() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        result("2026-01-01T08:00:00", &[30.0; 10]).write_beside(&at("a.mcap")).unwrap();
        let typed = |name: &str, it: DrillResult| DrillResult { technician: name.into(), ..it };
        let same = result("2026-01-02T08:00:00", &[20.0; 10]);
        let letters = same.technician.to_uppercase();
        typed(&letters, same).write_beside(&at("b.mcap")).unwrap();
        typed("Technician B", result("2026-01-02T08:00:00", &[20.0; 10])).write_beside(&at("c.mcap")).unwrap();
        fs::write(at("broken.drill.json"), "{").unwrap();
        let now = result("2026-01-03T08:00:00", &[20.0; 10]);
        let [json, table] = now.write_beside(&at("d.mcap")).unwrap();
        let before = now.earlier(folder.path());
        assert_eq!(before.iter().map(|r| r.kept).collect::<Vec<_>>(), [0, 10]);
        // The clock was put back between the two: the later one shows the earlier time.
        let [later, earlier] = ["02:10:00+01:00", "02:40:00+02:00"]
            .map(|time| DrillResult { started: format!("2026-10-25T{time}"), ..now.clone() });
        assert_eq!(earlier.earlier(folder.path()).len(), 3, "all but itself, which is not written");
        earlier.write_beside(&at("e.mcap")).unwrap();
        assert_eq!(later.earlier(folder.path()).last().map(|r| &r.started), Some(&earlier.started));
        assert_eq!(now.words(&before[..], Units::Si).last().unwrap(), "Before, with this goal: 0 of 10, 10 of 10");
        assert_eq!(serde_json::from_slice::<DrillResult>(&fs::read(json).unwrap()).unwrap(), now);
        assert!(fs::read_to_string(table).unwrap().starts_with("stroke,start_s,end_s,pace_mm_s,pace_lo_mm_s"));
    }

    #[test]
    fn a_result_is_replaced_whole_or_not_at_all() {
        let folder = tempfile::tempdir().unwrap();
        let recording = folder.path().join("a.mcap");
        let before = result("2026-01-01T08:00:00", &[30.0; 10]);
        // Whoever holds the old file goes on reading the old one: it is not written over in place.
        let held = before.write_beside(&recording).unwrap().map(|path| fs::File::open(path).unwrap());
        result("2026-01-02T08:00:00", &[20.0; 10]).write_beside(&recording).unwrap();
        let [json, table] = held.map(|file| std::io::read_to_string(file).unwrap());
        assert_eq!(serde_json::from_str::<DrillResult>(&json).unwrap(), before);
        assert!(table.contains("30.0"), "{table}");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2, "nothing unfinished is left");
    }

    #[test]
    fn goals_that_cannot_be_meant_are_refused() {
        assert_eq!(GOAL.fault(), None);
        for (goal, word) in [
            (Goal { pace_mm_s: 0.0, ..GOAL }, "pace"),
            (Goal { pace_mm_s: f64::NAN, ..GOAL }, "pace"),
            (Goal { within_mm_s: 20.0, ..GOAL }, "within"),
            (Goal { stroke_m: Some(9.0), ..GOAL }, "stroke"),
            (Goal { strokes: 1, ..GOAL }, "strokes"),
        ] {
            assert!(goal.fault().unwrap().contains(word));
        }
    }
}
