//! The bottom line: key figures with their intervals, and the standing caution.

use super::super::canvas::{Canvas, Line, Type};
use super::super::theme::{self, size};
use super::super::units::{duration, number};
use super::super::{SheetInput, lettering};
use super::facts::{Facts, Pace};
use crate::analysis::MachineKind;
use crate::guidance::Band;

struct Figure {
    value: String,
    label: &'static str,
    detail: String,
    outside: bool,
}

const UNKNOWN: &str = "not known";

pub(super) fn draw(canvas: &mut Canvas, input: &SheetInput<'_>, facts: &Facts, left: f64, right: f64) {
    canvas.polyline(&[(left, 1036.0), (right, 1036.0)], Line::of(theme::HAIR, 1.5));
    let figures = figures(input, facts);
    // Columns as wide as what they hold, the rest shared between them.
    let value_set = Type::of(size::FIGURE).bold();
    let (label_set, detail_set) = (Type::of(size::LABEL), Type::of(size::NOTE).fill(theme::SOFT));
    let widths: Vec<f64> = figures
        .iter()
        .map(|f| {
            let mark = if f.outside { 34.0 } else { 0.0 };
            (value_set.width(&f.value) + mark).max(label_set.width(f.label)).max(detail_set.width(&f.detail))
        })
        .collect();
    let gap = (right - left - widths.iter().sum::<f64>()) / (figures.len() as f64 - 1.0);
    let mut x = left;
    for (figure, width) in figures.iter().zip(widths) {
        let mut at = x;
        let mut set = value_set;
        if figure.value == UNKNOWN {
            set = Type::of(size::HEAD).fill(theme::SOFT);
        }
        if figure.outside {
            let d = format!("M{at} 1086L{} 1060L{} 1086Z", at + 13.0, at + 26.0);
            canvas.path(&d, super::super::canvas::Fill::Plain(theme::ACCENT), None);
            set = set.fill(theme::ACCENT_INK);
            at += 34.0;
        }
        canvas.text(at, 1087.0, &figure.value, set);
        canvas.text(x, 1117.0, figure.label, label_set);
        let detail = lettering::fit(&figure.detail, detail_set.size, detail_set.weight, width + gap.max(0.0) - 12.0);
        canvas.text(x, 1143.0, &detail, detail_set);
        x += width + gap.max(14.0);
    }
    canvas.text(
        left,
        1182.0,
        "Readings are aids, not safety instruments: the spot is not the panel's hottest point. Figures after ± or in brackets bound 90 % intervals.",
        Type::of(size::NOTE - 1.0).fill(theme::SOFT),
    );
}

fn figures(input: &SheetInput<'_>, facts: &Facts) -> Vec<Figure> {
    let (pass, u) = (input.pass, input.scale());
    let (_, rate_unit) = input.rate_words();
    let pace = pass.traverse_mean_mps;
    let verdict = Pace::of(pace, input.bands.pace_mps);
    let told = pace.map(|p| u.arm_speed_and_interval(p, input.bands.pace_mps));
    let arm = Figure {
        value: told.as_ref().map_or(UNKNOWN.into(), |(speed, _)| format!("{speed} {}", u.arm_speed_unit())),
        label: "mean arm speed",
        detail: told.map_or(String::new(), |(_, interval)| {
            let target = input.bands.pace_mps.map_or(String::new(), |Band { lo, hi }| {
                format!(", target {}–{}", u.arm_speed_limit_number(lo), u.arm_speed_limit_number(hi))
            });
            let by = if input.goes_by_turns() { " by the turns" } else { "" };
            format!("({interval}){by}{target}")
        }),
        outside: verdict.is_outside(),
    };
    let clearly = facts.numbers(Pace::Fast).len() + facts.numbers(Pace::Slow).len();
    let band = Figure {
        value: facts.in_band().map_or(UNKNOWN.into(), |(n, all)| format!("{n} of {all}")),
        label: "strokes in the band",
        detail: match facts.in_band() {
            None => String::new(),
            Some((n, all)) if n == all => {
                pass.traverse_cv.map_or(String::new(), |cv| format!("vary by {} %", number(100.0 * cv, 0)))
            }
            Some(_) => format!("{clearly} clearly outside"),
        },
        outside: clearly > 0,
    };
    let low = input.bands.orbit_opm.zip(pass.orbit_median_opm).is_some_and(|(band, m)| !band.contains(m));
    let orbit = Figure {
        value: pass.orbit_median_opm.map_or(UNKNOWN.into(), |opm| format!("{} {rate_unit}", number(opm, 0))),
        label: if input.machine == MachineKind::Rotary { "median machine speed" } else { "median orbit rate" },
        detail: match (pass.orbit_median_opm.and(pass.orbit_p05_opm), pass.orbit_p95_opm) {
            (Some(lo), Some(hi)) => format!("nine tenths in {}–{}", number(lo, 0), number(hi, 0)),
            _ => String::new(),
        },
        outside: low,
    };
    let pad = Figure {
        value: pass
            .pad_speed_mean_mps
            .map_or(UNKNOWN.into(), |v| format!("{} {}", number(u.long_length(v), 1), u.pad_speed_unit())),
        label: "mean pad speed",
        detail: pass.pad_speed_mean_mps.map_or(String::new(), |_| "pad against paint".into()),
        outside: false,
    };
    let over = facts.over_s.unwrap_or(0.0);
    let rise = Figure {
        value: facts.peak_rise_k.map_or(UNKNOWN.into(), |k| {
            format!("{}{} {}", facts.at_least(), u.rise_number_beside(k, input.bands.rise_limit_k), u.rise_unit())
        }),
        label: "peak surface rise",
        detail: match (facts.peak_rise_k, facts.unseen(), input.bands.rise_limit_k) {
            (Some(_), _, Some(limit)) if over > 0.0 => {
                format!("{} over {} {}", duration(over.max(1.0)), u.rise_limit_number(limit), u.rise_unit())
            }
            (Some(_), Some(unseen), _) => unseen.beside_figure(),
            (Some(_), None, Some(limit)) => format!("limit {} {}", u.rise_limit_number(limit), u.rise_unit()),
            _ => String::new(),
        },
        outside: over > 0.0,
    };
    let time = Figure {
        value: duration(facts.span_s.1 - facts.span_s.0),
        label: "time on the section",
        detail: match pass.strokes {
            0 => String::new(),
            1 => "1 stroke".into(),
            n => format!("{n} strokes"),
        },
        outside: false,
    };
    vec![arm, band, orbit, pad, rise, time]
}
