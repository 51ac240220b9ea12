//! Means of a vector, in which a machine's vibration averages out.

use crate::analysis::Vec3;

/// Sum of three-axis samples.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sum {
    sum: Vec3,
    samples: u32,
}

impl Sum {
    pub(super) fn push(&mut self, sample: [f32; 3]) {
        self.sum.iter_mut().zip(sample).for_each(|(sum, v)| *sum += f64::from(v));
        self.samples += 1;
    }

    /// `None` of fewer samples than `enough`.
    pub(super) fn mean(&self, enough: u32) -> Option<Vec3> {
        (self.samples >= enough).then(|| self.sum.map(|sum| sum / f64::from(self.samples)))
    }
}

/// Averages a vector over each whole second, and the sizes of these averages over all.
#[derive(Debug, Default)]
pub(super) struct Steady {
    second: i64,
    of_second: Sum,
    sizes: f64,
    /// The averages of these seconds, summed.
    averages: Vec3,
    seconds: u32,
}

impl Steady {
    /// Fewer samples than this in a second average nothing.
    const ENOUGH: u32 = 10;

    pub(super) fn push(&mut self, t_us: f64, sample: [f32; 3]) {
        let second = (t_us * 1e-6) as i64;
        if second != self.second {
            if let Some(average) = self.of_second.mean(Self::ENOUGH) {
                self.sizes += average.iter().map(|v| v * v).sum::<f64>().sqrt();
                self.averages.iter_mut().zip(average).for_each(|(all, v)| *all += v);
                self.seconds += 1;
            }
            (self.second, self.of_second) = (second, Sum::default());
        }
        self.of_second.push(sample);
    }

    /// The second that is not over says nothing.
    pub(super) fn mean(&self) -> Option<f64> {
        (self.seconds > 0).then(|| self.sizes / f64::from(self.seconds))
    }

    pub(super) fn mean_vector(&self) -> Option<Vec3> {
        (self.seconds > 0).then(|| self.averages.map(|sum| sum / f64::from(self.seconds)))
    }
}
