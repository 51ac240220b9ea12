//! The panel as a thin sheet that a moving pad heats.
//!
//! Thin: the temperature is even through the sheet (steel of 0.8 mm takes 0.04 s), so with `θ` the rise over the start,
//! `C` the heat capacity per area, `a` the diffusivity, `h` the loss of both sides together and `q` the pad's flux,
//!
//! ```text
//! C ∂θ/∂t = C a ∇²θ - h θ + q(x, y, t)
//! ```
//!
//! Explicit finite differences on square cells, edges insulated, `q` spread over the cells in proportion to how much of
//! them the pad covers, so that exactly the pad's power enters. Steps are cut so that `a Δt/Δx² <= 1/5` (stable below 1/4).
//! Paint on the sheet is counted in `C`; the drop across it under the pad (some 2 K) is gone within the 0.1 s that pass
//! before a spot beside the pad sees it, and is left out.

/// The sheet, all of it at the starting temperature until heated.
#[derive(Clone, Debug)]
pub(super) struct Sheet {
    columns: usize,
    rows: usize,
    cell_m: f64,
    capacity_j_m2k: f64,
    diffusivity_m2ps: f64,
    loss_w_m2k: f64,
    rise_k: Vec<f64>,
    next_k: Vec<f64>,
}

/// A disc on the sheet; the sheet's middle is the origin.
#[derive(Clone, Copy, Debug)]
pub(super) struct Disc {
    pub(super) x_m: f64,
    pub(super) y_m: f64,
    pub(super) radius_m: f64,
}

impl Sheet {
    /// A sheet of at least `width_m` by `height_m`.
    pub(super) fn new(
        size_m: [f64; 2],
        cell_m: f64,
        capacity_j_m2k: f64,
        diffusivity_m2ps: f64,
        loss_w_m2k: f64,
    ) -> Self {
        let [columns, rows] = size_m.map(|size| ((size / cell_m).ceil() as usize).max(3));
        let cells = vec![0.0; columns * rows];
        Self {
            columns,
            rows,
            cell_m,
            capacity_j_m2k,
            diffusivity_m2ps,
            loss_w_m2k,
            next_k: cells.clone(),
            rise_k: cells,
        }
    }

    /// Back to the starting temperature everywhere: a section that has not been worked.
    pub(super) fn renew(&mut self) {
        self.rise_k.fill(0.0);
    }

    /// Moves on by `dt_s` with `power_w` entering over `pad`.
    pub(super) fn advance(&mut self, dt_s: f64, pad: Disc, power_w: f64) {
        let limit_s = 0.2 * self.cell_m * self.cell_m / self.diffusivity_m2ps;
        let steps = (dt_s / limit_s).ceil().max(1.0);
        for _ in 0..steps as u32 {
            self.conduct(dt_s / steps);
        }
        if power_w > 0.0 {
            let mut covered = 0.0;
            self.each_covered(pad, |_, share| covered += share);
            let gain_k = power_w * dt_s / (covered * self.capacity_j_m2k * self.cell_m * self.cell_m);
            let mut rise = std::mem::take(&mut self.rise_k);
            self.each_covered(pad, |cell, share| rise[cell] += share * gain_k);
            self.rise_k = rise;
        }
    }

    fn conduct(&mut self, dt_s: f64) {
        let spread = self.diffusivity_m2ps * dt_s / (self.cell_m * self.cell_m);
        // Exact for an even sheet, whatever the step.
        let keep = (-self.loss_w_m2k / self.capacity_j_m2k * dt_s).exp();
        let n = self.columns;
        for row in 0..self.rows {
            let here = &self.rise_k[row * n..][..n];
            let above = &self.rise_k[row.saturating_sub(1) * n..][..n];
            let below = &self.rise_k[(row + 1).min(self.rows - 1) * n..][..n];
            let out = &mut self.next_k[row * n..][..n];
            let flow = |left: f64, i: usize, right: f64| {
                keep * (here[i] + spread * (left + right + above[i] + below[i] - 4.0 * here[i]))
            };
            out[0] = flow(here[0], 0, here[1]);
            for i in 1..n - 1 {
                out[i] = flow(here[i - 1], i, here[i + 1]);
            }
            out[n - 1] = flow(here[n - 2], n - 1, here[n - 1]);
        }
        std::mem::swap(&mut self.rise_k, &mut self.next_k);
    }

    /// Calls `f` with every cell under `disc` and the share of it that is covered (to first order in the cell's size).
    fn each_covered(&self, disc: Disc, mut f: impl FnMut(usize, f64)) {
        // Off the sheet means at its edge: the simulation makes sheets wide enough, but must not lose the pad.
        let place = |at: f64, cells: usize| (at / self.cell_m + cells as f64 / 2.0).clamp(0.5, cells as f64 - 0.5);
        let (cx, cy) = (place(disc.x_m, self.columns), place(disc.y_m, self.rows));
        let radius = (disc.radius_m / self.cell_m).max(0.5);
        let span = |c: f64, cells: usize| {
            let first = (c - radius - 1.0).floor().max(0.0) as usize;
            first..((c + radius + 1.0).ceil() as usize).min(cells)
        };
        for row in span(cy, self.rows) {
            for column in span(cx, self.columns) {
                let distance = (column as f64 + 0.5 - cx).hypot(row as f64 + 0.5 - cy);
                let share = (radius - distance + 0.5).clamp(0.0, 1.0);
                if share > 0.0 {
                    f(row * self.columns + column, share);
                }
            }
        }
    }

    /// Mean rise within a disc, K.
    pub(super) fn mean_rise_k(&self, disc: Disc) -> f64 {
        let (mut sum, mut weight) = (0.0, 0.0);
        self.each_covered(disc, |cell, share| {
            sum += share * self.rise_k[cell];
            weight += share;
        });
        sum / weight
    }

    /// Highest rise, K.
    pub(super) fn highest_rise_k(&self) -> f64 {
        self.rise_k.iter().copied().fold(0.0, f64::max)
    }
}
