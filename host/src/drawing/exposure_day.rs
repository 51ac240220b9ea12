//! The exposure sheet: one technician's day of hand-arm vibration on one page.
//!
//! ```text
//! ┌ title, the finding in one sentence, what kind of figure this is ─────┐
//! │ the running total over the day against action and limit value        │
//! │ each stretch of running time with its own a_hv                       │
//! ├ what each tool brought ────────────┬ cautions ───────────────────────┤
//! ```
//!
//! The total is drawn as A(8), with points on the right axis. Values typed in have no time of day: the total starts on them.

use super::canvas::{Axes, Canvas, DrawingError, Fill, Frame, Hatching, Line, Type, path_data};
use super::invented;
use super::lettering::{Weight, fit, fit_middle, safe, width, wrap};
use super::theme::{self, size};
use crate::exposure::{Basis, CAUTIONS, Day, Hand, Limits, NOTICE, Range, Step, a8_of_points};

/// Width of the sheet, px.
const WIDTH: u32 = 1800;
/// Height of the sheet, px.
const HEIGHT: u32 = 1290;
/// What a caution about the day's own figures adds to it, px.
const CAUTION_HEIGHT: u32 = 90;
const LEFT: f64 = 56.0;
const RIGHT: f64 = 1744.0;
const CHART_X: f64 = 150.0;
const CHART_RIGHT: f64 = 1560.0;
/// Rows of the table of tools; more are summed up in words.
const MOST_TOOLS: usize = 6;
/// Exposures of the right axis, points.
const POINT_TICKS: [f64; 6] = [25.0, 100.0, 225.0, 400.0, 900.0, 1600.0];
/// Steps of the hour axis, h.
const HOUR_STEPS: [f64; 8] = [1.0 / 60.0, 1.0 / 12.0, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0];

/// What the sheet shows.
#[derive(Clone, Copy, Debug)]
pub struct ExposureSheet<'a> {
    /// The day.
    pub day: &'a Day,
    /// What it is held against.
    pub limits: Limits,
    /// Whether any of it is invented.
    pub invented: bool,
}

/// The sheet as PNG.
///
/// # Errors
/// [`DrawingError`] when the picture cannot be made; it does not depend on the figures.
pub fn exposure_day_png(sheet: &ExposureSheet<'_>) -> Result<Vec<u8>, DrawingError> {
    draw(sheet).png()
}

fn draw(sheet: &ExposureSheet<'_>) -> Canvas {
    let mut canvas = Canvas::new(WIDTH, height(sheet.day));
    header(&mut canvas, sheet);
    let clock = Clock::of(sheet.day);
    let steps = sheet.day.steps();
    let total = Frame { x: CHART_X, y: 232.0, w: CHART_RIGHT - CHART_X, h: 390.0 };
    let strip = Frame { x: CHART_X, y: 680.0, w: CHART_RIGHT - CHART_X, h: 150.0 };
    course(&mut canvas, sheet, &clock, &steps, total);
    stretches(&mut canvas, sheet.day, &clock, strip);
    tools(&mut canvas, sheet.day, 920.0);
    cautions(&mut canvas, sheet.day, 920.0);
    canvas
}

fn height(day: &Day) -> u32 {
    HEIGHT + day.overlap_caution().map_or(0, |_| CAUTION_HEIGHT)
}

fn header(canvas: &mut Canvas, sheet: &ExposureSheet<'_>) {
    let day = sheet.day;
    let who = if day.technician.is_empty() { "technician not told" } else { &day.technician };
    let date = day.date.map_or_else(|| "day not known".to_owned(), |d| d.strftime("%-d %B %Y").to_string());
    // A long name is cut, the day never.
    let title = format!("Hand-arm vibration, {date}: {}", safe(who, 40));
    let room = RIGHT - LEFT - if sheet.invented { invented::width() + 24.0 } else { 0.0 };
    // Smaller before it is cut.
    let sizes = [size::TITLE, size::FIGURE, size::FINDING];
    let fits = |size: &f64| width(&title, *size, Weight::SemiBold) <= room;
    let size = sizes.into_iter().find(fits).unwrap_or(size::FINDING);
    canvas.text(LEFT, 84.0, &fit(&title, size, Weight::SemiBold, room), Type::of(size).bold());
    let finding = day.finding(sheet.limits);
    // One that says what is not known is long.
    let set = [size::FINDING, size::BODY].map(Type::of);
    let set = if set[0].width(&finding) <= RIGHT - LEFT { set[0] } else { set[1] };
    canvas.text(LEFT, 134.0, &finding, set);
    canvas.text(LEFT, 176.0, &format!("{NOTICE}. An aid, not a safety instrument."), Type::of(size::BODY).bold());
    if sheet.invented {
        invented::mark(canvas, RIGHT, 42.0);
    }
}

/// Where stretches stand on the time axis.
struct Clock {
    /// Start and end of each stretch, h: of the day where every start is known, otherwise of running time.
    spans: Vec<(f64, f64)>,
    of_day: bool,
    range: (f64, f64),
    step: f64,
}

impl Clock {
    fn of(day: &Day) -> Self {
        let midnight = day.stretches.first().and_then(|s| s.start.as_ref()).and_then(|s| s.start_of_day().ok());
        let of_day = midnight.is_some() && day.stretches.iter().all(|s| s.start.is_some());
        let mut spent = 0.0;
        let spans: Vec<(f64, f64)> = day
            .stretches
            .iter()
            .map(|s| {
                let start = match (&s.start, &midnight) {
                    (Some(start), Some(midnight)) if of_day => start.duration_since(midnight).as_secs_f64() / 3600.0,
                    _ => spent,
                };
                let span_s = if of_day { s.span_s } else { s.running_s };
                spent += span_s / 3600.0;
                (start, start + span_s / 3600.0)
            })
            .collect();
        let lo = spans.iter().map(|s| s.0).fold(f64::INFINITY, f64::min);
        let hi = spans.iter().map(|s| s.1).fold(f64::NEG_INFINITY, f64::max);
        let (lo, hi) = if lo < hi { (lo, hi) } else { (8.0, 17.0) };
        let step = HOUR_STEPS.into_iter().find(|s| (hi - lo) / s <= 9.0).unwrap_or(8.0);
        let mut range = ((lo / step).floor() * step, (hi / step).ceil() * step);
        if range.1 - range.0 < step {
            range.1 = range.0 + step;
        }
        Self { spans, of_day, range, step }
    }

    fn label(&self, h: f64) -> String {
        let minutes = (h * 60.0).round() as i64;
        if self.of_day {
            format!("{:02}:{:02}", minutes / 60 % 24, minutes % 60)
        } else if self.step < 1.0 {
            format!("{minutes} min")
        } else {
            format!("{h:.0} h")
        }
    }
}

fn hour_axis(canvas: &mut Canvas, clock: &Clock, axes: &Axes, labels: bool) {
    let f = axes.frame;
    if clock.spans.is_empty() {
        return; // values typed in have no time
    }
    let count = ((clock.range.1 - clock.range.0) / clock.step).round() as usize;
    for i in 0..=count {
        let h = clock.range.0 + i as f64 * clock.step;
        let x = axes.px(h);
        canvas.polyline(&[(x, f.y), (x, f.bottom())], Line::of(theme::HAIR, 1.0));
        if labels {
            canvas.text(x, f.bottom() + 30.0, &clock.label(h), Type::of(size::LABEL).middle());
        }
    }
    if labels {
        let what =
            if clock.of_day { "time of day" } else { "running time, one after the other (time of day not known)" };
        canvas.text(f.right(), f.bottom() + 58.0, what, Type::of(size::NOTE).fill(theme::SOFT).end());
    }
}

/// The running total, A(8) in m/s², over the hours of the clock.
fn course_of(day: &Day, clock: &Clock, steps: &[Step<'_>]) -> Vec<(f64, Range)> {
    let a8 = |points: Range| points.map(a8_of_points);
    let mut line: Vec<(f64, Range)> = vec![(clock.range.0, a8(day.declared_points()))];
    let mut since = clock.range.0;
    for (step, span) in steps.iter().zip(&clock.spans) {
        // Where stretches overlap, the line goes on from the end of the one before, never back.
        let from = span.0.max(since);
        let span = (from, span.1.max(from));
        since = span.1;
        line.push((span.0, a8(step.before)));
        // The total grows like a root in A(8): a few points in between show it.
        for i in 1..=8 {
            let share = f64::from(i) / 8.0;
            let between = |from: f64, to: f64| from + (to - from) * share;
            let points = Range {
                lo: between(step.before.lo, step.after.lo),
                value: between(step.before.value, step.after.value),
                hi: between(step.before.hi, step.after.hi),
            };
            line.push((between(span.0, span.1), a8(points)));
        }
    }
    line.push((clock.range.1, a8(day.dose().points())));
    line
}

fn course(canvas: &mut Canvas, sheet: &ExposureSheet<'_>, clock: &Clock, steps: &[Step<'_>], frame: Frame) {
    let a8 = |points: Range| points.map(a8_of_points);
    let end = a8(sheet.day.dose().points());
    let top = (sheet.limits.limit_mps2 * 1.16).max(end.hi * 1.08);
    let axes = Axes { frame, x: clock.range, y: (0.0, top) };
    hour_axis(canvas, clock, &axes, false);
    let known = sheet.day.is_known();
    let head = if known { "Running total, A(8) in m/s²" } else { "Running total of what is known, A(8) in m/s²" };
    canvas.text(LEFT, frame.y - 12.0, head, Type::of(size::HEAD).bold());
    canvas.text(frame.right() + 12.0, frame.y - 12.0, "points", Type::of(size::LABEL).fill(theme::SOFT));
    let every = if top > 12.0 { 5.0 } else { 1.0 };
    let mut y = 0.0;
    while y <= top {
        canvas.text(frame.x - 14.0, axes.py(y) + 7.0, &format!("{y:.0}"), Type::of(size::LABEL).tabular().end());
        y += every;
    }
    for points in POINT_TICKS.into_iter().filter(|p| a8_of_points(*p) <= top) {
        let y = axes.py(a8_of_points(points));
        canvas.text(frame.right() + 12.0, y + 7.0, &format!("{points:.0}"), Type::of(size::LABEL).tabular());
    }
    let base = sheet.day.declared_points();
    let line = course_of(sheet.day, clock, steps);
    let px = |pick: fn(&Range) -> f64| line.iter().map(|(x, r)| (axes.px(*x), axes.py(pick(r)))).collect::<Vec<_>>();
    let mut band = px(|r| r.hi);
    band.extend(px(|r| r.lo).into_iter().rev());
    canvas.clipped(frame, |canvas| {
        canvas.path(&path_data(&band, true), Fill::Plain(theme::DATA_INTERVAL), None);
        canvas.polyline(&px(|r| r.value), Line::of(theme::DATA, 4.0));
    });
    for (value, name) in [(sheet.limits.action_mps2, "action value"), (sheet.limits.limit_mps2, "limit value")] {
        let y = axes.py(value);
        canvas.polyline(&[(frame.x, y), (frame.right(), y)], Line::of(theme::ACCENT, 2.5).dashed(14.0, 8.0));
        let text = format!("{name} {value} m/s²");
        canvas.text(frame.x + 14.0, y - 10.0, &text, Type::of(size::LABEL).bold().fill(theme::ACCENT_INK).halo());
    }
    let at = (frame.right() - 12.0, axes.py(end.value) - 14.0);
    let figure = end.words(1, "");
    let text = match sheet.day.at_least_mps2() {
        _ if known => figure,
        Some(_) => format!("at least {figure}"),
        None => "not known: not measured".to_owned(),
    };
    canvas.text(at.0, at.1, &text, Type::of(size::HEAD).bold().fill(theme::DATA).end().halo());
    if base.value > 0.0 {
        // Few points are told to a tenth, as in the table below.
        let decimals = usize::from(base.hi < 10.0);
        let text = format!("declared: {:.decimals$} points, time of day not known", base.value);
        let under = axes.py(a8_of_points(base.lo)) + 30.0;
        let y = if under < frame.bottom() - 8.0 { under } else { axes.py(a8_of_points(base.hi)) - 12.0 };
        canvas.text(frame.x + 14.0, y, &text, Type::of(size::LABEL).halo());
    }
    canvas.rect(frame, Fill::None, Some(Line::of(theme::INK, 1.5)));
}

fn stretches(canvas: &mut Canvas, day: &Day, clock: &Clock, frame: Frame) {
    let magnitudes: Vec<Option<f64>> = day.stretches.iter().map(|s| day.magnitude(s)).collect();
    let top = magnitudes.iter().flatten().fold(2.0, |a: f64, b| a.max(*b)) * 1.4;
    let axes = Axes { frame, x: clock.range, y: (0.0, top) };
    hour_axis(canvas, clock, &axes, true);
    let head = if day.stretches.is_empty() {
        "Nothing recorded on this day"
    } else {
        "While the motor ran, weighted vibration a_hv in m/s²"
    };
    canvas.text(LEFT, frame.y - 14.0, head, Type::of(size::HEAD).bold());
    let every = if top > 12.0 {
        5.0
    } else if top > 4.0 {
        2.0
    } else {
        1.0
    };
    let mut y = 0.0;
    while y <= top {
        canvas.text(frame.x - 14.0, axes.py(y) + 7.0, &format!("{y:.0}"), Type::of(size::LABEL).tabular().end());
        y += every;
    }
    let mut borrowed = false;
    let mut labels: Vec<(f64, f64, String)> = Vec::new();
    let set = Type::of(size::LABEL).middle().halo();
    let bar_of = |(start, end): &(f64, f64)| (axes.px(*start), (axes.px(*end) - axes.px(*start)).max(3.0));
    for (i, ((span, magnitude), stretch)) in clock.spans.iter().zip(&magnitudes).zip(&day.stretches).enumerate() {
        let (x, w) = bar_of(span);
        let y = magnitude.map_or(frame.y, |a| axes.py(a));
        let bar = Frame { x, y, w, h: frame.bottom() - y };
        if stretch.is_measured() {
            canvas.rect(bar, Fill::Plain(theme::DATA), None);
        } else {
            borrowed = true;
            canvas.rect(bar, Fill::Hatch(Hatching::Unknown), Some(Line::of(theme::SOFT, 1.5)));
        }
        if let Some(a) = magnitude {
            let (text, middle) = (format!("{a:.1}"), x + w / 2.0);
            // Wider than its bar, a figure belongs to that alone where no other bar stands under it.
            let half = set.width(&text) / 2.0;
            let mut others =
                clock.spans.iter().enumerate().filter(|(other, _)| *other != i).map(|(_, span)| bar_of(span));
            if w > 2.0 * half || others.all(|(x, w)| x >= middle + half || x + w <= middle - half) {
                labels.push((middle.max(frame.x + half + 4.0).min(frame.right() - half - 4.0), y - 8.0, text));
            }
        }
    }
    // Over all bars, and none over another: bars overlap where stretches do.
    let mut free_from = f64::NEG_INFINITY;
    for (x, y, text) in labels {
        let half = set.width(&text) / 2.0 + 4.0;
        if x - half >= free_from {
            canvas.text(x, y, &text, set);
            free_from = x + half;
        }
    }
    if borrowed {
        let text = "hatched: not measured; the tool's figure of the day, where there is one";
        canvas.text(frame.right(), frame.y - 14.0, text, Type::of(size::NOTE).fill(theme::SOFT).end());
    }
    canvas.rect(frame, Fill::None, Some(Line::of(theme::INK, 1.5)));
}

/// Right ends of the figures of a tool, px from the left, with their headings.
const COLUMNS: [(f64, &str); 3] = [(582.0, "min"), (832.0, "a_hv, m/s²"), (942.0, "points")];

fn tools(canvas: &mut Canvas, day: &Day, y: f64) {
    const NAME_ROOM: f64 = 358.0;
    let columns = COLUMNS.map(|(x, name)| (LEFT + x, name));
    let small = Type::of(size::NOTE).fill(theme::SOFT);
    canvas.text(LEFT, y, "What brought it", Type::of(size::HEAD).bold());
    for (x, name) in columns {
        canvas.text(x, y, name, small.end());
    }
    let sources = day.sources();
    let mut at = y + 38.0;
    for source in sources.iter().take(MOST_TOOLS) {
        let set = Type::of(size::BODY);
        let name = safe(&source.tool, 60);
        let lettering = if set.width(&name) <= NAME_ROOM { set } else { Type::of(size::NOTE) };
        canvas.text(LEFT, at, &fit_middle(&name, lettering.size, lettering.weight, NAME_ROOM), lettering);
        let basis = match source.hand {
            Hand::Both => source.basis.as_str().to_owned(),
            hand => format!("{}, {}", source.basis.as_str(), hand.as_str()),
        };
        canvas.text(LEFT + NAME_ROOM + 10.0, at, &basis, small);
        let (a, points) = source.words();
        let minutes = format!("{:.1}", source.running_s / 60.0);
        for ((x, _), text) in columns.into_iter().zip([minutes, a, points]) {
            canvas.text(x, at, &text, set.tabular().end());
        }
        at += 36.0;
    }
    if sources.len() > MOST_TOOLS {
        canvas.text(LEFT, at, &format!("and {} more; see the table", sources.len() - MOST_TOOLS), small);
        at += 36.0;
    }
    let clipped: u64 = sources.iter().map(|s| s.clipped).sum();
    if clipped > 0 {
        let text = format!("{clipped} samples at the sensor's full scale: the truth is larger there.");
        canvas.text(LEFT, at, &text, small.fill(theme::ACCENT_INK));
        at += 32.0;
    }
    if sources.iter().any(|s| s.is_cut_off) {
        let text = "Peaks beyond a logger's range were cut off: the truth is larger.";
        canvas.text(LEFT, at, text, small.fill(theme::ACCENT_INK));
        at += 32.0;
    }
    let (running, measured) = sources
        .iter()
        .filter(|s| s.basis == Basis::Measured)
        .fold((0.0, 0.0), |(r, m), s| (r + s.running_s, m + s.measured_s));
    if running > 0.0 {
        let text =
            format!("Vibration was measured in {:.0} % of the recorded running time.", 100.0 * measured / running);
        canvas.text(LEFT, at, &text, small);
    }
}

/// Where they end, px.
fn cautions(canvas: &mut Canvas, day: &Day, y: f64) -> f64 {
    let x = LEFT + 980.0;
    canvas.text(x, y, "Before you use these figures", Type::of(size::HEAD).bold());
    let mut at = y + 36.0;
    if let Some(caution) = day.overlap_caution() {
        let lines = wrap(&caution, size::NOTE, Weight::Regular, RIGHT - x);
        at = canvas.lines(x, at, &lines, Type::of(size::NOTE).fill(theme::ACCENT_INK), 26.0) + 8.0;
    }
    for caution in CAUTIONS {
        let lines = wrap(caution, size::NOTE, Weight::Regular, RIGHT - x);
        at = canvas.lines(x, at, &lines, Type::of(size::NOTE), 26.0) + 8.0;
    }
    at
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        analysis::WeightedEnergy,
        exposure::{Declared, Running, days},
    };

    fn stretch(start: &str, minutes: f64, a: f64) -> Running {
        let seconds = minutes * 60.0;
        Running {
            technician: "Robin".into(),
            turn: 0,
            tool: "orbital 15 mm".into(),
            start: crate::recording::start_of(start),
            span_s: seconds,
            running_s: seconds,
            energy: WeightedEnergy { square_integral: [a * a * seconds, 0.0, 0.0], seconds, clipped: 0 },
            is_cut_off: false,
        }
    }

    fn text_of(day: &Day) -> String {
        draw(&ExposureSheet { day, limits: Limits::default(), invented: true }).svg()
    }

    /// Minutes stand right before a figure with its interval.
    #[test]
    fn the_figures_of_a_tool_stand_apart() {
        let figures = ["120.0", "20.0 (20.0 to 23.0)", "1440.0"].map(|text| Type::of(size::BODY).tabular().width(text));
        let ends = COLUMNS.map(|(x, _)| x);
        for i in [1, 2] {
            let gap = ends[i] - figures[i] - ends[i - 1];
            assert!(gap >= 24.0, "{gap} px before column {i}");
        }
    }

    #[test]
    fn the_sheet_says_what_kind_of_figure_it_is() {
        let mut day = days([stretch("2026-03-02T09:00:00+01:00", 40.0, 4.0)]).remove(0);
        let Declared(sander) = "sander=5:60".parse().unwrap();
        day.declared.push(sander);
        let svg = text_of(&day);
        for said in [NOTICE, invented::MARK, "action value 2.5", "limit value 5", "declared: 50 points", "sander"] {
            assert!(svg.contains(said), "{said}");
        }
        assert!(
            exposure_day_png(&ExposureSheet { day: &day, limits: Limits::default(), invented: false }).unwrap().len()
                > 10_000
        );
    }

    #[test]
    fn a_day_of_typed_in_values_only_can_be_drawn() {
        let Declared(sander) = "sander=5:60".parse().unwrap();
        let svg = text_of(&Day { declared: vec![sander], ..Day::default() });
        assert!(svg.contains("Nothing recorded") && svg.contains(NOTICE));
        assert!(!svg.contains("running time") && !svg.contains("17 h"), "no time that nobody told");
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
    }

    #[test]
    fn few_points_typed_in_are_told_above_the_line_and_to_a_tenth() {
        let Declared(sander) = "sander=1:5".parse().unwrap();
        let svg = text_of(&Day { declared: vec![sander], ..Day::default() });
        let label = svg.split("<text ").find(|text| text.contains("declared: 0.2 points")).unwrap();
        let y: f64 = label.split(" y=\"").nth(1).unwrap().split('"').next().unwrap().parse().unwrap();
        assert!(y < 232.0 + 390.0 - 8.0, "it ran into the heading below: {y}");
    }

    #[test]
    fn a_total_that_is_not_known_is_not_drawn_as_one() {
        let unmeasured = |start: &str| Running { energy: WeightedEnergy::default(), ..stretch(start, 40.0, 0.0) };
        let svg = text_of(&days([unmeasured("2026-03-02T09:00:00+01:00")]).remove(0));
        assert!(svg.contains("A(8) is not known") && svg.contains("not known: not measured"), "{svg}");
        assert!(!svg.contains("0.0 (0.0 to 0.0)") && !svg.contains("under the"));
        let other = Running { tool: "sander".into(), ..unmeasured("2026-03-02T11:00:00+01:00") };
        let svg = text_of(&days([stretch("2026-03-02T09:00:00+01:00", 480.0, 3.0), other]).remove(0));
        // The longest finding there is.
        let limits = Limits { action_mps2: 2.25, limit_mps2: 12.55 };
        let other = Running { tool: "sander".into(), ..unmeasured("2026-03-02T11:00:00+01:00") };
        let longest = days([stretch("2026-03-02T09:00:00+01:00", 480.0, 10.2), other]).remove(0).finding(limits);
        assert!(longest.contains("over the action value of 2.25 m/s², and may be over the limit value"), "{longest}");
        assert!(Type::of(size::BODY).width(&longest) <= RIGHT - LEFT, "{longest}");
        assert!(svg.contains("at least 3.0 (2.4 to 3.6)") && svg.contains("Running total of what is known"));
    }

    #[test]
    fn what_was_cut_off_has_no_upper_bound() {
        let cut = Running { is_cut_off: true, ..stretch("2026-03-02T09:00:00+01:00", 40.0, 4.0) };
        let svg = text_of(&days([cut]).remove(0));
        assert!(svg.contains(">at least 4.0<") && !svg.contains("4.0 (3.2 to 4.8)"), "the tool's own row");
        assert!(svg.contains("were cut off: the truth is larger"));
    }

    #[test]
    fn a_title_is_made_smaller_before_it_is_cut() {
        for invented in [false, true] {
            let day = &Day { date: Some(jiff::civil::date(2026, 11, 20)), ..Day::default() };
            let svg = draw(&ExposureSheet { day, limits: Limits::default(), invented }).svg();
            assert!(svg.contains("20 November 2026: technician not told"), "{svg}");
        }
    }

    #[test]
    fn a_bar_narrower_than_its_figure_has_it_where_no_other_stands_close() {
        let told = |second: &str| {
            let bars = [
                stretch("2026-03-02T09:00:00+01:00", 4.0, 4.9),
                stretch(second, 4.0, 5.7),
                stretch("2026-03-02T12:00:00+01:00", 120.0, 3.1),
            ];
            let text = text_of(&days(bars).remove(0));
            [4.9, 5.7, 3.1].map(|a| text.contains(&format!(">{a:.1}</text>")))
        };
        assert_eq!(told("2026-03-02T10:30:00+01:00"), [true; 3]);
        assert_eq!(told("2026-03-02T09:05:00+01:00"), [false, false, true], "whose it is could not be seen");
    }

    #[test]
    fn overlapping_stretches_never_lead_the_line_back() {
        let day = days([
            stretch("2026-03-02T09:00:00+01:00", 40.0, 4.0),
            stretch("2026-03-02T09:10:00+01:00", 40.0, 5.0),
            stretch("2026-03-02T09:20:00+01:00", 10.0, 6.0),
        ])
        .remove(0);
        let (clock, steps) = (Clock::of(&day), day.steps());
        let line = course_of(&day, &clock, &steps);
        assert!(line.windows(2).all(|pair| pair[0].0 <= pair[1].0), "{line:?}");
        assert!(text_of(&day).contains("overlap by 40 min"), "{}", text_of(&day));
        for day in [&day, &Day::default()] {
            let ends = cautions(&mut Canvas::new(WIDTH, HEIGHT), day, 920.0);
            assert!(ends < f64::from(height(day)), "{ends} px");
        }
    }
}
