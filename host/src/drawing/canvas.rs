//! The render core: layers of SVG on one sheet, lettering that fits, and the way to PNG.
//!
//! All coordinates are px of the finished sheet, y down. Charts go through [`Canvas::chart`], which hands out a plotters area
//! over a rectangle of the sheet; everything else is laid as SVG in the order of the calls.

use std::fmt::Write as _;
use std::sync::{Arc, LazyLock};

use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::{Cartesian2d, DrawingArea, IntoDrawingArea, SVGBackend};
use resvg::{tiny_skia, usvg};

use super::lettering::{self, Weight};
use super::theme;

/// The SVG backend of plotters rounds to whole units: it gets this many per px.
pub const FINE: f64 = 4.0;

/// A sheet could not be drawn.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DrawingError {
    /// plotters refused.
    #[error("cannot draw the chart: {0}")]
    Chart(String),
    /// The drawing is not valid SVG.
    #[error("cannot read back the drawing: {0}")]
    Svg(#[from] usvg::Error),
    /// The picture could not be made.
    #[error("cannot make a picture of {width}x{height} px: {reason}")]
    Png {
        /// Width, px.
        width: u32,
        /// Height, px.
        height: u32,
        /// What the encoder said.
        reason: String,
    },
}

/// A rectangle of the sheet, px.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Left.
    pub x: f64,
    /// Top.
    pub y: f64,
    /// Width.
    pub w: f64,
    /// Height.
    pub h: f64,
}

impl Frame {
    /// Right edge.
    pub fn right(&self) -> f64 {
        self.x + self.w
    }

    /// Lower edge.
    pub fn bottom(&self) -> f64 {
        self.y + self.h
    }
}

/// A frame with axes: from data to px and back to data ranges.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Axes {
    /// Where on the sheet.
    pub frame: Frame,
    /// Data at the left and right edges.
    pub x: (f64, f64),
    /// Data at the lower and upper edges.
    pub y: (f64, f64),
}

impl Axes {
    /// px from the sheet's left.
    pub fn px(&self, x: f64) -> f64 {
        self.frame.x + (x - self.x.0) / (self.x.1 - self.x.0) * self.frame.w
    }

    /// px from the sheet's top.
    pub fn py(&self, y: f64) -> f64 {
        self.frame.bottom() - (y - self.y.0) / (self.y.1 - self.y.0) * self.frame.h
    }
}

/// A plotters area in data coordinates.
pub type ChartArea<'a> = DrawingArea<SVGBackend<'a>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// Where a text's x is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Anchor {
    /// At its start.
    #[default]
    Start,
    /// In its middle.
    Middle,
    /// At its end.
    End,
}

/// How a text is set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Type {
    /// px per em.
    pub size: f64,
    /// Heaviness.
    pub weight: Weight,
    /// Colour.
    pub fill: &'static str,
    /// Where x is.
    pub anchor: Anchor,
    /// A rim of paper around the letters, for text over drawings.
    pub halo: bool,
    /// All digits one width, for figures that stand under each other.
    pub tabular: bool,
}

impl Type {
    /// Regular ink of a size.
    pub const fn of(size: f64) -> Self {
        Self { size, weight: Weight::Regular, fill: theme::INK, anchor: Anchor::Start, halo: false, tabular: false }
    }

    /// In semi-bold.
    pub const fn bold(self) -> Self {
        Self { weight: Weight::SemiBold, ..self }
    }

    /// In a colour.
    pub const fn fill(self, fill: &'static str) -> Self {
        Self { fill, ..self }
    }

    /// x in the middle.
    pub const fn middle(self) -> Self {
        Self { anchor: Anchor::Middle, ..self }
    }

    /// x at the end.
    pub const fn end(self) -> Self {
        Self { anchor: Anchor::End, ..self }
    }

    /// With a rim of paper.
    pub const fn halo(self) -> Self {
        Self { halo: true, ..self }
    }

    /// Digits of one width.
    pub const fn tabular(self) -> Self {
        Self { tabular: true, ..self }
    }

    /// Width of a text set so, px.
    pub fn width(&self, text: &str) -> f64 {
        text.chars().map(|c| lettering::advance(c, self.size, self.weight, self.tabular)).sum()
    }
}

/// How a shape is filled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fill {
    /// Not at all.
    None,
    /// One colour.
    Plain(&'static str),
    /// Slanted lines in a colour on nothing.
    Hatch(Hatching),
}

/// The hatchings, told apart by slant and spacing as well as colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hatching {
    /// Outside the band: close lines rising to the right, accent.
    Outside,
    /// Not known, no data: wide lines falling to the right, grey.
    Unknown,
}

/// A line's look.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Colour.
    pub stroke: &'static str,
    /// px.
    pub width: f64,
    /// Dash and gap, px.
    pub dash: Option<(f64, f64)>,
}

impl Line {
    /// A plain line.
    pub const fn of(stroke: &'static str, width: f64) -> Self {
        Self { stroke, width, dash: None }
    }

    /// Dashed.
    pub const fn dashed(self, dash: f64, gap: f64) -> Self {
        Self { dash: Some((dash, gap)), ..self }
    }
}

/// One sheet being drawn.
#[derive(Debug)]
pub struct Canvas {
    width: u32,
    height: u32,
    body: String,
    clips: usize,
}

impl Canvas {
    /// A blank sheet.
    pub fn new(width: u32, height: u32) -> Self {
        Self { width, height, body: String::new(), clips: 0 }
    }

    /// A chart layer over `axes`, clipped to its frame (`spill` px more on each side, for line ends and marks).
    ///
    /// # Errors
    /// [`DrawingError::Chart`] when plotters refuses.
    pub fn chart(
        &mut self,
        axes: &Axes,
        spill: f64,
        draw: impl FnOnce(&ChartArea<'_>) -> Result<(), Box<dyn std::error::Error>>,
    ) -> Result<(), DrawingError> {
        let mut svg = String::new();
        {
            let fine = |px: f64| (px * FINE).round();
            let size = (fine(f64::from(self.width)) as u32, fine(f64::from(self.height)) as u32);
            let root: DrawingArea<_, Shift> = SVGBackend::with_string(&mut svg, size).into_drawing_area();
            let f = axes.frame;
            let span = |a: f64, b: f64| fine(a) as i32..fine(b) as i32;
            let spec = Cartesian2d::<RangedCoordf64, RangedCoordf64>::new(
                axes.x.0..axes.x.1,
                axes.y.0..axes.y.1,
                // Data rise upwards, pixels downwards.
                (span(f.x, f.right()), span(f.bottom(), f.y)),
            );
            let area = root.apply_coord_spec(spec);
            draw(&area).map_err(|e| DrawingError::Chart(e.to_string()))?;
            area.present().map_err(|e| DrawingError::Chart(e.to_string()))?;
        }
        // What plotters wrote, without its outer element; its line joins are mitred, which spikes on noisy series.
        let inner = svg.split_once('>').map_or("", |(_, rest)| rest);
        let inner = inner.rsplit_once("</svg>").map_or(inner, |(inside, _)| inside);
        let inner = inner.replace("<polyline ", "<polyline stroke-linejoin=\"round\" stroke-linecap=\"round\" ");
        let f = axes.frame;
        self.clips += 1;
        let _ = writeln!(
            self.body,
            "<clipPath id=\"c{0}\"><rect x=\"{1:.2}\" y=\"{2:.2}\" width=\"{3:.2}\" height=\"{4:.2}\"/></clipPath>\
             <g clip-path=\"url(#c{0})\"><g transform=\"scale({5})\">{inner}</g></g>",
            self.clips,
            f.x - spill,
            f.y - spill,
            f.w + 2.0 * spill,
            f.h + 2.0 * spill,
            1.0 / FINE
        );
        Ok(())
    }

    /// One line of text on a baseline.
    pub fn text(&mut self, x: f64, y: f64, text: &str, set: Type) {
        if text.is_empty() || !x.is_finite() || !y.is_finite() {
            return;
        }
        let anchor = if set.tabular { "start" } else { anchor_word(set.anchor) };
        let places = if set.tabular {
            let mut at = match set.anchor {
                Anchor::Start => x,
                Anchor::Middle => x - set.width(text) / 2.0,
                Anchor::End => x - set.width(text),
            };
            let mut list = String::new();
            for c in text.chars() {
                let room = lettering::advance(c, set.size, set.weight, true);
                let own = lettering::advance(c, set.size, set.weight, false);
                let _ = write!(list, "{:.2} ", at + (room - own) / 2.0);
                at += room;
            }
            list.trim_end().to_owned()
        } else {
            format!("{x:.2}")
        };
        let halo = if set.halo {
            format!(
                " stroke=\"{}\" stroke-width=\"{:.1}\" stroke-linejoin=\"round\" paint-order=\"stroke\"",
                theme::PAPER,
                set.size * 0.26
            )
        } else {
            String::new()
        };
        let _ = writeln!(
            self.body,
            "<text x=\"{places}\" y=\"{y:.2}\" font-family=\"{}\" font-size=\"{:.2}\" font-weight=\"{}\" fill=\"{}\" \
             text-anchor=\"{anchor}\"{halo} xml:space=\"preserve\">{}</text>",
            lettering::FAMILY,
            set.size,
            if set.weight == Weight::SemiBold { 600 } else { 400 },
            set.fill,
            escape(text)
        );
    }

    /// Lines of text under each other, each `leading` px lower; returns the baseline after the last.
    pub fn lines(&mut self, x: f64, y: f64, lines: &[String], set: Type, leading: f64) -> f64 {
        for (i, line) in lines.iter().enumerate() {
            self.text(x, y + i as f64 * leading, line, set);
        }
        y + lines.len() as f64 * leading
    }

    /// A rectangle.
    pub fn rect(&mut self, frame: Frame, fill: Fill, edge: Option<Line>) {
        let d = format!(
            "M{:.2} {:.2}h{:.2}v{:.2}h{:.2}z",
            frame.x,
            frame.y,
            frame.w.max(0.0),
            frame.h.max(0.0),
            -frame.w.max(0.0)
        );
        self.path(&d, fill, edge);
    }

    /// A line through points, px.
    pub fn polyline(&mut self, points: &[(f64, f64)], line: Line) {
        self.path(&path_data(points, false), Fill::None, Some(line));
    }

    /// Any path, in SVG path data; holes by the even-odd rule.
    pub fn path(&mut self, data: &str, fill: Fill, edge: Option<Line>) {
        if data.is_empty() || data.contains("NaN") || data.contains("inf") {
            return;
        }
        let fill = match fill {
            Fill::None => "none".to_owned(),
            Fill::Plain(colour) => colour.to_owned(),
            Fill::Hatch(Hatching::Outside) => "url(#outside)".to_owned(),
            Fill::Hatch(Hatching::Unknown) => "url(#unknown)".to_owned(),
        };
        let edge = edge.map_or(String::new(), |line| {
            let dash = line.dash.map_or(String::new(), |(on, off)| format!(" stroke-dasharray=\"{on:.1} {off:.1}\""));
            format!(
                " stroke=\"{}\" stroke-width=\"{:.2}\" stroke-linejoin=\"round\" stroke-linecap=\"{}\"{dash}",
                line.stroke,
                line.width,
                if line.dash.is_some() { "butt" } else { "round" }
            )
        });
        let _ = writeln!(self.body, "<path d=\"{data}\" fill=\"{fill}\" fill-rule=\"evenodd\"{edge}/>");
    }

    /// Everything drawn by `draw` is clipped to a frame.
    pub fn clipped(&mut self, frame: Frame, draw: impl FnOnce(&mut Self)) {
        self.clips += 1;
        let _ = write!(
            self.body,
            "<clipPath id=\"c{0}\"><rect x=\"{1:.2}\" y=\"{2:.2}\" width=\"{3:.2}\" height=\"{4:.2}\"/></clipPath>\
             <g clip-path=\"url(#c{0})\">",
            self.clips, frame.x, frame.y, frame.w, frame.h
        );
        draw(self);
        self.body.push_str("</g>\n");
    }

    /// The sheet as SVG.
    pub fn svg(&self) -> String {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}\" height=\"{h}\" viewBox=\"0 0 {w} {h}\">\
             <defs>{outside}{unknown}</defs><rect width=\"{w}\" height=\"{h}\" fill=\"{paper}\"/>\n{body}</svg>\n",
            w = self.width,
            h = self.height,
            paper = theme::PAPER,
            outside = hatch("outside", 9.0, 2.4, theme::ACCENT, 45),
            unknown = hatch("unknown", 14.0, 1.4, "#9aa1a8", -45),
            body = self.body,
        )
    }

    /// The sheet as PNG.
    ///
    /// # Errors
    /// [`DrawingError::Svg`] or [`DrawingError::Png`]; neither depends on the data drawn.
    pub fn png(&self) -> Result<Vec<u8>, DrawingError> {
        encoded(&self.pixels()?).map_err(|e| self.failed(e.to_string()))
    }

    fn failed(&self, reason: String) -> DrawingError {
        DrawingError::Png { width: self.width, height: self.height, reason }
    }

    fn pixels(&self) -> Result<tiny_skia::Pixmap, DrawingError> {
        let options = usvg::Options {
            fontdb: Arc::clone(&FONTS),
            font_family: lettering::FAMILY.to_owned(),
            ..usvg::Options::default()
        };
        let tree = usvg::Tree::from_str(&self.svg(), &options)?;
        let mut pixels =
            tiny_skia::Pixmap::new(self.width, self.height).ok_or_else(|| self.failed("too large".to_owned()))?;
        resvg::render(&tree, tiny_skia::Transform::identity(), &mut pixels.as_mut());
        Ok(pixels)
    }
}

/// Flat colours repeat from row to row and along it: unfiltered they deflate by a fifth better than through PNG's filters, which are
/// for photographs, and paper lets nothing shine through.
fn encoded(pixels: &tiny_skia::Pixmap) -> Result<Vec<u8>, png::EncodingError> {
    if pixels.pixels().iter().any(|pixel| pixel.alpha() < u8::MAX) {
        return pixels.encode_png();
    }
    let opaque: Vec<u8> = pixels.data().chunks_exact(4).flat_map(|rgba| [rgba[0], rgba[1], rgba[2]]).collect();
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, pixels.width(), pixels.height());
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_filter(png::Filter::NoFilter);
    encoder.set_deflate_compression(png::DeflateCompression::Level(6));
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&opaque)?;
    writer.finish()?;
    Ok(out)
}

static FONTS: LazyLock<Arc<usvg::fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = usvg::fontdb::Database::new();
    fonts.load_font_data(lettering::REGULAR.to_vec());
    fonts.load_font_data(lettering::SEMIBOLD.to_vec());
    Arc::new(fonts)
});

/// SVG path data through points, px.
pub fn path_data(points: &[(f64, f64)], close: bool) -> String {
    let mut data = String::new();
    for (i, (x, y)) in points.iter().enumerate() {
        let _ = write!(data, "{}{x:.2} {y:.2}", if i == 0 { "M" } else { "L" });
    }
    if close && !data.is_empty() {
        data.push('Z');
    }
    data
}

/// Text for SVG or HTML content and attributes. Control characters, which XML forbids, become spaces.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if c.is_control() || matches!(u32::from(c), 0xFFFE | 0xFFFF) => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

fn anchor_word(anchor: Anchor) -> &'static str {
    match anchor {
        Anchor::Start => "start",
        Anchor::Middle => "middle",
        Anchor::End => "end",
    }
}

fn hatch(id: &str, pitch: f64, width: f64, colour: &str, degrees: i32) -> String {
    format!(
        "<pattern id=\"{id}\" width=\"{pitch}\" height=\"{pitch}\" patternUnits=\"userSpaceOnUse\" \
         patternTransform=\"rotate({degrees})\"><rect width=\"{width}\" height=\"{pitch}\" fill=\"{colour}\"/></pattern>"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hostile_text_stays_text() {
        assert_eq!(escape("<b a='1'>&\"\u{1}\u{b}"), "&lt;b a=&#39;1&#39;&gt;&amp;&quot;  ");
    }

    #[test]
    fn lettering_really_leaves_ink() {
        let dark = |text: &str| {
            let mut canvas = Canvas::new(200, 60);
            canvas.text(10.0, 40.0, text, Type::of(30.0));
            let png = canvas.png().unwrap();
            let pixels = tiny_skia::Pixmap::decode_png(&png).unwrap();
            pixels.pixels().iter().filter(|p| p.red() < 128).count()
        };
        assert_eq!(dark(""), 0);
        assert!(dark("Stroke 3") > 300, "{}", dark("Stroke 3"));
    }

    #[test]
    fn a_picture_is_smaller_and_the_same_pixel_for_pixel() {
        let mut canvas = Canvas::new(900, 400);
        for row in 0..12 {
            let y = 30.0 * f64::from(row) + 30.0;
            canvas.rect(Frame { x: 40.0, y, w: 60.0 * f64::from(row), h: 12.0 }, Fill::Plain(theme::DATA), None);
            canvas.text(300.0, y, "Stroke 3 was above the band, 29 mm/s (23–36)", Type::of(20.0).halo());
        }
        let pixels = canvas.pixels().unwrap();
        let png = canvas.png().unwrap();
        assert!(tiny_skia::Pixmap::decode_png(&png).unwrap() == pixels);
        let filtered = pixels.encode_png().unwrap();
        assert!(png.len() < filtered.len() * 9 / 10, "{} of {} bytes", png.len(), filtered.len());
    }

    #[test]
    fn tabular_figures_align_at_their_ends() {
        let set = Type::of(30.0).tabular();
        assert_eq!(set.width("111"), set.width("888"));
    }
}
