//! An area of the panel.

/// An upright rectangle in section coordinates, m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rect {
    /// Smallest x.
    pub x0_m: f64,
    /// Smallest y.
    pub y0_m: f64,
    /// Largest x.
    pub x1_m: f64,
    /// Largest y.
    pub y1_m: f64,
}

impl Rect {
    pub(super) fn contains(&self, x_m: f64, y_m: f64) -> bool {
        x_m >= self.x0_m && x_m <= self.x1_m && y_m >= self.y0_m && y_m <= self.y1_m
    }

    pub(super) fn include(&mut self, x_m: f64, y_m: f64) {
        self.x0_m = self.x0_m.min(x_m);
        self.y0_m = self.y0_m.min(y_m);
        self.x1_m = self.x1_m.max(x_m);
        self.y1_m = self.y1_m.max(y_m);
    }

    pub(super) fn include_all(&mut self, other: &Self) {
        self.include(other.x0_m, other.y0_m);
        self.include(other.x1_m, other.y1_m);
    }
}
