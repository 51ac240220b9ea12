//! An accelerometer that shakes harder than its range stands on its largest value: many samples on it, hardly any near it. Vibration
//! that is not cut off comes near its largest value more often than it reaches it.

/// Names of the axes.
const AXES: [&str; 3] = ["x", "y", "z"];

/// Within this share of the extreme a value is near it.
const NEAR: f32 = 0.02;

/// So many more samples stand on the extreme than near it where it is the range's end: at least twice as many with eight bits and a
/// steady vibration as large as the range, which is the hardest case.
const TIMES: u64 = 2;

/// Fewer samples than this on the extreme are chance.
const FEWEST: u64 = 20;

/// No accelerometer has a smaller range, m/s²: 1.5 g. Gravity alone may stand at one value for ever.
const LEAST_RANGE_MPS2: f32 = 14.0;

/// Samples on the end of an axis' range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Largest {
    /// `x`, `y` or `z`.
    pub axis: &'static str,
    /// The value, m/s².
    pub value_mps2: f32,
    /// How many samples have it.
    pub samples: u64,
}

/// One end of one axis.
#[derive(Clone, Copy, Debug)]
struct End {
    /// The extreme so far, times the sign of its end.
    extreme: f32,
    on: u64,
    near: u64,
}

impl End {
    fn push(&mut self, v: f32) {
        if v > self.extreme {
            let is_near = self.extreme > v - NEAR * v.abs();
            self.near = if is_near { self.near + self.on } else { 0 };
            (self.extreme, self.on) = (v, 1);
        } else if v == self.extreme {
            self.on += 1;
        } else if v > self.extreme - NEAR * self.extreme.abs() {
            self.near += 1;
        }
    }

    fn is_range_end(&self) -> bool {
        self.extreme >= LEAST_RANGE_MPS2 && self.on >= FEWEST && self.on > TIMES * self.near
    }
}

/// The largest and the smallest value of each axis.
#[derive(Clone, Debug)]
pub(super) struct Extremes {
    /// Upper and lower end of each axis.
    ends: [[End; 2]; 3],
}

impl Default for Extremes {
    fn default() -> Self {
        Self { ends: [[End { extreme: f32::NEG_INFINITY, on: 0, near: 0 }; 2]; 3] }
    }
}

impl Extremes {
    pub(super) fn push(&mut self, sample: [f32; 3]) {
        for ([upper, lower], v) in self.ends.iter_mut().zip(sample) {
            upper.push(v);
            lower.push(-v);
        }
    }

    /// Whether no axis ever changed.
    pub(super) fn is_frozen(&self) -> bool {
        self.ends.iter().all(|[upper, lower]| upper.extreme == -lower.extreme && upper.on >= FEWEST)
    }

    /// The end of an axis that is the range's, if one is: that with most samples on it.
    pub(super) fn largest(&self) -> Option<Largest> {
        let ends = self.ends.iter().zip(AXES).flat_map(|([upper, lower], axis)| {
            let moves = upper.extreme != -lower.extreme;
            let of = |end: &End, sign: f32| Largest { axis, value_mps2: sign * end.extreme, samples: end.on };
            [(upper, 1.0), (lower, -1.0)].map(|(end, sign)| (moves && end.is_range_end()).then(|| of(end, sign)))
        });
        ends.flatten().max_by_key(|end| end.samples)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Vibration of an amplitude about gravity, as a chip of a range and a step sees it.
    fn seen(amplitude: f32, range: f32, step: f32) -> Option<Largest> {
        let mut extremes = Extremes::default();
        for i in 0..20_000 {
            let at = |phase: f32| (amplitude * (0.37 * i as f32 + phase).sin()).clamp(-range, range);
            let sample = [at(0.0), at(1.0), (9.81 + at(2.0)).min(range)];
            extremes.push(sample.map(|v| (v / step).round() * step));
        }
        extremes.largest()
    }

    #[test]
    fn only_what_is_cut_off_stands_on_its_largest_value() {
        let (g, fine, coarse) = (9.806_65_f32, 6e-4, 0.15);
        for step in [fine, coarse] {
            assert_eq!(seen(1.9 * g, 16.0 * g, step), None);
            assert_eq!(seen(60.0, 16.0 * g, step), None);
            let cut = seen(40.0, 2.0 * g, step).expect("cut off");
            assert!((cut.value_mps2.abs() - 2.0 * g).abs() < 0.1 && cut.samples > 5000, "{cut:?}");
        }
        assert_eq!(seen(0.0, 2.0 * g, fine), None);
    }

    #[test]
    fn what_never_changes_is_frozen_and_not_cut_off() {
        let mut extremes = Extremes::default();
        (0..100).for_each(|_| extremes.push([0.0, 30.0, -30.0]));
        assert!(extremes.is_frozen() && extremes.largest().is_none());
        extremes.push([0.0, 30.0, -29.9]);
        assert!(!extremes.is_frozen());
        assert!(!Extremes::default().is_frozen());
    }
}
