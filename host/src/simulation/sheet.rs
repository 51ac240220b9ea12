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
            // What enters during the step is already being lost: with this an evenly heated sheet is exact.
            let lost = self.loss_w_m2k / self.capacity_j_m2k * dt_s;
            let kept_s = if lost > 0.0 { -(-lost).exp_m1() / lost * dt_s } else { dt_s };
            let gain_k = power_w * kept_s / (covered * self.capacity_j_m2k * self.cell_m * self.cell_m);
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

#[cfg(test)]
mod tests {
    use super::super::reference;
    use super::*;

    const STILL: Disc = Disc { x_m: 0.0, y_m: 0.0, radius_m: 0.05 };

    fn steel(size_m: [f64; 2], cell_m: f64, thickness_m: f64, loss_w_m2k: f64) -> Sheet {
        // Carbon steel at 300 K, Incropera table A.1 (from memory): 60.5 W/mK, 7854 kg/m3, 434 J/kgK.
        Sheet::new(size_m, cell_m, 7854.0 * 434.0 * thickness_m, 60.5 / (7854.0 * 434.0), loss_w_m2k)
    }

    fn stored_j(sheet: &Sheet) -> f64 {
        sheet.rise_k.iter().sum::<f64>() * sheet.capacity_j_m2k * sheet.cell_m * sheet.cell_m
    }

    #[test]
    fn without_loss_every_joule_stays() {
        let mut sheet = steel([0.5, 0.4], 0.008, 8e-4, 0.0);
        for step in 0..2000 {
            let x_m = 0.15 * (f64::from(step) * 0.01).sin();
            sheet.advance(0.03, Disc { x_m, y_m: 0.05, radius_m: 0.0625 }, 50.0);
        }
        let due_j = 50.0 * 0.03 * 2000.0;
        assert!((stored_j(&sheet) / due_j - 1.0).abs() < 1e-9);
        assert!(sheet.rise_k.iter().all(|rise| *rise >= 0.0));
    }

    #[test]
    fn an_evenly_heated_section_rises_as_the_energy_balance_says() {
        // Newton cooling, ΔT = (P/hA)(1 - exp(-t/τ)), τ = m c/(hA): panel_rise_scenarios.csv, recomputed from the formula.
        let mut rows = 0;
        for row in reference("panel_rise_scenarios.csv") {
            let field = |name: &str| row[name].parse::<f64>().ok();
            let (sides, h) = (field("cooled_sides").unwrap(), field("h_w_m2k").unwrap());
            let mut sheet = steel([0.6, 0.6], 0.06, field("sheet_mm").unwrap() * 1e-3, sides * h);
            let everywhere = Disc { radius_m: 2.0, ..STILL };
            let seconds = field("time_s").unwrap();
            for _ in 0..seconds as u32 {
                sheet.advance(1.0, everywhere, field("power_w").unwrap());
            }
            let (got, due) = (sheet.mean_rise_k(STILL), field("rise_k").unwrap());
            assert!((got - due).abs() < 6e-4, "{row:?}: {got}");
            rows += 1;
        }
        assert_eq!(rows, 54);
    }

    #[test]
    fn it_cools_as_the_textbooks_lumped_bodies_do() {
        // Incropera ex. 5.1 (a thermocouple's ball, 25 to 199 °C in gas of 200 °C) and Cengel ex. 4-1 (99 % of a step), the
        // balls' volume over surface D/6 taken as the sheet's thickness.
        for (id, d, rho, c, h, share) in [
            ("incropera_5_1_t", 7.0588e-4, 8500.0, 400.0, 400.0, 1.0 / 175.0),
            ("cengel_4_1", 1e-3, 8500.0, 320.0, 210.0, 0.01),
        ] {
            let row = reference("heat_worked_examples.csv").into_iter().find(|row| row["id"] == id).unwrap();
            let seconds: f64 = match id {
                "cengel_4_1" => row["recomputed"].split("t ").nth(1).unwrap().trim_end_matches(" s").parse().unwrap(),
                _ => row["recomputed"].parse().unwrap(),
            };
            let mut sheet = Sheet::new([0.1; 2], 0.01, rho * c * d / 6.0, 1e-5, h);
            sheet.rise_k.fill(1.0);
            sheet.advance(seconds, STILL, 0.0);
            let left = sheet.mean_rise_k(STILL);
            assert!((left / share - 1.0).abs() < 2e-3, "{id}: {left}");
        }
    }

    #[test]
    fn it_conducts_as_the_semi_infinite_solids_of_the_textbooks() {
        let due = |id: &str| -> f64 {
            let row = reference("heat_worked_examples.csv").into_iter().find(|row| row["id"] == id).unwrap();
            row["recomputed"].parse().unwrap()
        };
        // Surface step: left half at twice the step makes the plane between them the surface (antisymmetry).
        let step = |alpha: f64, delta_k: f64, x_m: f64, t_s: f64| {
            let mut sheet = Sheet::new([0.4, 0.003], 0.001, 1.0, alpha, 0.0);
            let half = sheet.columns / 2;
            let columns = sheet.columns;
            sheet
                .rise_k
                .iter_mut()
                .enumerate()
                .filter(|(i, _)| i % columns < half)
                .for_each(|(_, r)| *r = 2.0 * delta_k);
            sheet.advance(t_s, STILL, 0.0);
            // Between two columns lies the whole millimetre.
            let column = half + (x_m / 0.001).round() as usize;
            0.5 * (sheet.rise_k[column - 1] + sheet.rise_k[column])
        };
        // Holman ex. 4.2, surface step 35 to 250 °C.
        let holman = 35.0 + step(1.4e-5, 215.0, 0.025, 30.0);
        assert!((holman - due("holman_4_2_step")).abs() < 0.05, "{holman}");
        // Nellis & Klein table 3-2, case 1, surface step 378 to 303 K.
        let nellis = 378.0 + step(9.547e-5, -75.0, 0.05, 2.0);
        assert!((nellis - due("nk_semiinf1")).abs() < 0.05, "{nellis}");
        // Holman ex. 4.2, constant flux: a plane source of twice the flux in the middle of a whole solid, 1 m thick.
        let mut sheet = Sheet::new([0.401, 0.003], 0.001, 45.0 / 1.4e-5, 1.4e-5, 0.0);
        let (middle, columns) = (sheet.columns / 2, sheet.columns);
        for _ in 0..3000 {
            sheet.conduct(0.01);
            let gain_k = 2.0 * 3.2e5 * 0.01 / (sheet.capacity_j_m2k * sheet.cell_m);
            (0..sheet.rows).for_each(|row| sheet.rise_k[row * columns + middle] += gain_k);
        }
        let holman = 35.0 + sheet.rise_k[middle + 25];
        assert!((holman - due("holman_4_2_flux")).abs() < 0.05, "{holman}");
    }

    #[test]
    fn a_moving_line_source_leaves_the_trail_that_rosenthal_gives() {
        // Thin plate, D. Rosenthal 1941 / Carslaw & Jaeger (from memory): T = P/(2πkg) exp(-vx/2a) K0(vr/2a), x ahead of
        // the source. Far behind it z = vr/2a is large and K0(z) = √(π/2z) e^-z (1 - 1/8z + 9/128z² - …).
        let (power, k, thickness, v) = (50.0, 60.5, 8e-4, 0.05);
        let mut sheet = steel([0.44, 0.12], 0.002, thickness, 0.0);
        let (dt, a) = (0.01, sheet.diffusivity_m2ps);
        let steps = 700;
        let place = |step: i32| -0.18 + v * dt * (f64::from(step) + 0.5);
        for step in 0..steps {
            sheet.advance(dt, Disc { x_m: place(step), y_m: 0.0, radius_m: 0.001 }, power);
        }
        let source = place(steps - 1) + 0.5 * v * dt;
        let rosenthal = |x: f64, y: f64| {
            let r = x.hypot(y);
            let z = v * r / (2.0 * a);
            let k0 = (std::f64::consts::PI / (2.0 * z)).sqrt() * (1.0 - 1.0 / (8.0 * z) + 9.0 / (128.0 * z * z));
            // Both exponentials together, for either alone leaves the range of numbers.
            power / (2.0 * std::f64::consts::PI * k * thickness) * k0 * (-v * (x + r) / (2.0 * a)).exp()
        };
        for behind in [0.06, 0.1, 0.16] {
            let column = ((source - behind) / sheet.cell_m + sheet.columns as f64 / 2.0) as usize;
            let x = (column as f64 + 0.5 - sheet.columns as f64 / 2.0) * sheet.cell_m - source;
            let mut advected_w = 0.0;
            for row in 0..sheet.rows {
                let y = (row as f64 + 0.5 - sheet.rows as f64 / 2.0) * sheet.cell_m;
                let (got, due) = (sheet.rise_k[row * sheet.columns + column], rosenthal(x, y));
                // Measured 0.36 % of the trail's peak at 60 mm: the source is one cell wide instead of a line.
                assert!((got - due).abs() < 0.007 * rosenthal(x, 0.0), "x {x:.3} y {y:.3}: {got:.3}, {due:.3}");
                advected_w += sheet.capacity_j_m2k * v * got * sheet.cell_m;
            }
            // The power carried through every section behind it is the source's: row moving_line_energy.
            assert!((advected_w / power - 1.0).abs() < 1e-6, "{advected_w}");
        }
    }

    #[test]
    fn a_pad_standing_still_warms_at_the_rate_of_its_flux() {
        // 50 W under a pad of 150 mm on 0.7 and 0.8 mm of steel: 1.19 and 1.04 K/s before the heat spreads (recomputed).
        for (mm, due) in [(0.7, 1.19), (0.8, 1.04)] {
            let mut sheet = steel([0.5; 2], 0.005, mm * 1e-3, 0.0);
            let pad = Disc { radius_m: 0.075, ..STILL };
            (0..100).for_each(|_| sheet.advance(0.01, pad, 50.0));
            let got = sheet.mean_rise_k(Disc { radius_m: 0.02, ..STILL });
            assert!((got / due - 1.0).abs() < 0.01, "{got}");
        }
    }
}
