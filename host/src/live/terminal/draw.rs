//! What the terminal shows, from a view and nothing else.
//!
//! ```text
//! section, pass, strokes        elapsed            sensor
//! the sentence, in large letters; nothing when all is well
//! arm speed     (the three levels)          the section
//! orbit rate                                 filling in
//! surface rise
//! passes so far
//! what was last done, or what is being typed
//! keys
//! ```
//!
//! Sixteen colours at most, and none that carries a meaning alone: words, arrows, hatching and brightness say the same.

use ratatui::{
    Frame,
    layout::{Constraint, Layout, Rect},
    style::{Color, Modifier, Style},
    text::{Line, Span},
    widgets::Paragraph,
};
use tui_big_text::{BigText, PixelSize};

use super::ascii;
use crate::{
    guidance::units::count,
    live::{
        board::Link,
        cover::SIDE,
        level::{Level, MARK, Quantity, Zone},
        view::{PassRow, Urgency, View},
    },
};

/// A large letter is four columns wide and four rows high.
const LETTER: u16 = 4;
/// Rows kept for the sentence, so that nothing jumps when one appears; in a high terminal as many as the longest takes, or the list
/// of passes would seem to lose some whenever it comes.
const SENTENCE_ROWS: u16 = 2 * LETTER;
const LONGEST_SENTENCE_ROWS: u16 = 3 * LETTER;
/// Rows of the list of passes besides which the longest sentence keeps its place.
const FEW_PASSES: u16 = 2;
/// Rows of one level: name and reading, tube, space.
const LEVEL_ROWS: u16 = 3;
/// The section: a column a cell, a row for two of them, and a line below.
const SECTION: (u16, u16) = (SIDE as u16, SIDE as u16 / 2 + 1);
/// Below this there is only room for the sentence and the levels' words.
const SMALLEST: (u16, u16) = (60, 18);

/// What must be readable at any width.
const STOP_KEY: &str = "q stop";

/// How things are drawn on this terminal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Colours may be used.
    pub colour: bool,
    /// Letters beyond ASCII may be used.
    pub unicode: bool,
}

/// What is being asked of the user, at the bottom.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Prompt {
    /// A line is being typed.
    Line {
        /// What for.
        label: &'static str,
        /// What was typed so far.
        text: String,
    },
    /// Yes or no.
    Sure(&'static str),
}

/// Everything that is drawn.
#[derive(Clone, Debug)]
pub struct Scene<'a> {
    /// The view.
    pub view: &'a View,
    /// The lead.
    pub link: Link,
    /// Age of the figures, s.
    pub age_s: f64,
    /// What is being asked.
    pub prompt: Option<&'a Prompt>,
    /// Sound is on.
    pub sound: bool,
    /// There is a page, whose address a key shows.
    pub page: bool,
    /// Lines shown over everything: the page's address and its code.
    pub card: Option<&'a [String]>,
    /// How to draw.
    pub look: Look,
}

/// Draws a scene.
pub fn draw(frame: &mut Frame<'_>, scene: &Scene<'_>) {
    draw_as_written(frame, scene);
    // The card's code is blocks or nothing.
    if !scene.look.unicode && scene.card.is_none() {
        spell_in_ascii(frame);
    }
}

/// What words and names still hold beyond ASCII, as near as ASCII comes to it.
fn spell_in_ascii(frame: &mut Frame<'_>) {
    for cell in &mut frame.buffer_mut().content {
        if !cell.symbol().is_ascii() {
            let spelt = ascii::letter(cell.symbol());
            cell.set_symbol(&spelt);
        }
    }
}

fn draw_as_written(frame: &mut Frame<'_>, scene: &Scene<'_>) {
    let area = frame.area();
    if let Some(card) = scene.card {
        let lines: Vec<Line<'_>> = card.iter().map(|line| Line::raw(line.as_str())).collect();
        frame.render_widget(Paragraph::new(lines), area);
        return;
    }
    if area.width < SMALLEST.0 || area.height < SMALLEST.1 {
        return small(frame, scene, area);
    }
    let high = area.height >= 1 + LONGEST_SENTENCE_ROWS + SECTION.1 + FEW_PASSES + 2;
    let kept = if high { LONGEST_SENTENCE_ROWS } else { SENTENCE_ROWS };
    let lines = scene.view.sentence.as_deref().map(|text| wrap(text, usize::from(area.width / LETTER)));
    let wanted = lines.as_ref().map_or(0, |lines| lines.len() as u16 * LETTER).max(kept);
    // Title, the levels, the bottom two lines always have their place.
    let room = area.height.saturating_sub(1 + 3 * LEVEL_ROWS + 2);
    let sentence_rows = wanted.min(room);
    let middle_rows = SECTION.1.max(3 * LEVEL_ROWS).min(area.height - 3 - sentence_rows);
    let [title, sentence, middle, passes, bottom, keys] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(sentence_rows),
        Constraint::Length(middle_rows),
        Constraint::Min(0),
        Constraint::Length(1),
        Constraint::Length(1),
    ])
    .areas(area);
    title_line(frame, scene, title);
    if let Some(lines) = lines {
        say(frame, scene, &lines, sentence);
    }
    let with_section = middle.height >= SECTION.1;
    let section_columns = if with_section { SECTION.0 + 2 } else { 0 };
    let [levels, section] =
        Layout::horizontal([Constraint::Min(40), Constraint::Length(section_columns)]).areas(middle);
    for (i, level) in scene.view.levels.iter().enumerate() {
        let y = levels.y + i as u16 * LEVEL_ROWS;
        if y + 2 <= levels.bottom() {
            level_rows(frame, scene, level, Rect { y, height: 2, width: levels.width - 2, ..levels });
        }
    }
    if with_section {
        section_picture(frame, scene, section);
    }
    pass_list(frame, scene, passes);
    bottom_line(frame, scene, bottom);
    key_line(frame, scene, keys);
}

fn title_line(frame: &mut Frame<'_>, scene: &Scene<'_>, area: Rect) {
    let view = scene.view;
    let mut left = format!(" Section {}", view.section);
    if let Some(pass) = view.pass {
        left += &format!(", pass {pass}");
    }
    if view.strokes > 0 || view.strokes_aim.is_some() {
        left += &match view.strokes_aim {
            Some(aim) => format!(", {} of {aim} strokes done", view.strokes_done.min(aim)),
            None => format!(", {}", count(view.strokes, "stroke", "strokes")),
        };
    }
    let right = format!("{}  {} ", view.elapsed, link_words(scene));
    let room = usize::from(area.width).saturating_sub(left.chars().count() + right.chars().count() + 2);
    // Who works is known; what the sensor makes of it is not.
    let named = format!("{}: {}", view.technician, view.doing);
    let with_name = !view.technician.is_empty() && named.chars().count() <= room;
    let middle = if with_name { named } else { cut(view.doing, room) };
    let text = format!("{left}  {middle:^room$}{right}");
    let style = Style::new().add_modifier(Modifier::REVERSED | Modifier::BOLD);
    frame.render_widget(Paragraph::new(Line::styled(text, style)), area);
}

fn link_words(scene: &Scene<'_>) -> String {
    match scene.link {
        Link::Waiting => "sensor: waiting".into(),
        Link::Good => "sensor: good".into(),
        Link::Lost => format!("SENSOR LOST {:.0} s", scene.age_s),
    }
}

fn urgency_style(look: Look, urgency: Urgency) -> Style {
    let colour = match urgency {
        Urgency::None => Color::Reset,
        Urgency::Wait => Color::LightCyan,
        Urgency::Pace => Color::LightYellow,
        Urgency::Heat => Color::LightRed,
        Urgency::Signal => Color::LightMagenta,
    };
    let style = Style::new().add_modifier(Modifier::BOLD);
    if look.colour { style.fg(colour) } else { style }
}

fn say(frame: &mut Frame<'_>, scene: &Scene<'_>, lines: &[String], area: Rect) {
    let style = urgency_style(scene.look, scene.view.urgency);
    if !scene.look.unicode || lines.len() as u16 * LETTER > area.height {
        let text = scene.view.sentence.as_deref().unwrap_or_default().to_uppercase();
        let lines: Vec<Line<'_>> = wrap(&text, usize::from(area.width) - 4)
            .into_iter()
            .map(|line| Line::styled(format!("  {line}"), style.add_modifier(Modifier::REVERSED)))
            .collect();
        frame.render_widget(Paragraph::new(lines), area);
        return;
    }
    let lines: Vec<Line<'_>> = lines.iter().map(|line| Line::styled(line.as_str(), style)).collect();
    frame.render_widget(BigText::builder().pixel_size(PixelSize::Quadrant).lines(lines).centered().build(), area);
}

fn fault_style(look: Look, level: &Level) -> Style {
    match (look.colour, level.fault, level.quantity) {
        (true, true, Quantity::SurfaceRise) => Style::new().fg(Color::LightRed),
        (true, true, _) => Style::new().fg(Color::LightYellow),
        (true, false, _) if level.zone == Zone::Within => Style::new().fg(Color::LightGreen),
        _ => Style::new(),
    }
}

fn level_rows(frame: &mut Frame<'_>, scene: &Scene<'_>, level: &Level, area: Rect) {
    let stale = scene.link == Link::Lost;
    let style = if stale { Style::new().add_modifier(Modifier::DIM) } else { fault_style(scene.look, level) };
    let bold = style.add_modifier(Modifier::BOLD);
    let [head, tube] = Layout::vertical([Constraint::Length(1); 2]).areas(area);
    let word = if stale { format!("{:.0} s old", scene.age_s) } else { with_arrow(level, scene.look) };
    let room = usize::from(head.width);
    let [name, reading, word] = level_words(level, &word, room);
    let used = [&name, &reading, &word].map(|part| part.chars().count()).iter().sum::<usize>();
    let left = vec![Span::raw(name), Span::styled(reading, bold), Span::styled(word, style)];
    frame.render_widget(Paragraph::new(Line::from(left)), head);
    // The word says already on which side of the band the figure is.
    if let Some(band) = level.band.as_ref().filter(|band| used + 2 + band.chars().count() <= room) {
        frame.render_widget(Paragraph::new(Line::raw(band.as_str()).right_aligned()), head);
    }
    let glass = tube_text(level, usize::from(tube.width).saturating_sub(12), scene.look, stale);
    let line = Line::from(vec![
        Span::raw(format!(" {:>4} ", level.left)),
        Span::styled(glass, style),
        Span::raw(format!(" {}", level.right)),
    ]);
    frame.render_widget(Paragraph::new(line), tube);
}

/// Name, reading and word of a level; closer together, then with the name's first word, where they would not fit.
fn level_words(level: &Level, word: &str, room: usize) -> [String; 3] {
    let reading = level.reading.as_deref().unwrap_or("-");
    let short = level.name.split(' ').next().unwrap_or_default();
    let forms = [
        [format!(" {:<13}", level.name), format!("{reading:>10}"), format!("  {word}")],
        [format!(" {} ", level.name), reading.to_owned(), format!(" {word}")],
    ];
    let fits = |form: &[String; 3]| form.iter().map(|part| part.chars().count()).sum::<usize>() <= room;
    let close = || [format!(" {short} "), reading.to_owned(), format!(" {word}")];
    forms.into_iter().find(fits).unwrap_or_else(close)
}

fn with_arrow(level: &Level, look: Look) -> String {
    match (level.fault, level.zone, look.unicode) {
        (true, Zone::Low, true) => format!("◄ {}", level.word),
        (true, Zone::High, true) => format!("{} ►", level.word),
        (true, Zone::Low, false) => format!("< {}", level.word),
        (true, Zone::High, false) => format!("{} >", level.word),
        _ => level.word.to_owned(),
    }
}

/// The tube with its marks, its bubble and the look-ahead.
fn tube_text(level: &Level, width: usize, look: Look, stale: bool) -> String {
    let [rail, left_end, right_end, mark, full, old, ahead] = if look.unicode {
        ['─', '├', '┤', '┃', '█', '░', '▸']
    } else {
        ['-', '[', ']', '|', '#', '.', '>']
    };
    let last = width.saturating_sub(1);
    let column = |at: f64| (((at + 1.0) / 2.0) * last as f64).round().clamp(0.0, last as f64) as usize;
    let mut glass = vec![rail; width.max(2)];
    if let Some(bubble) = level.bubble {
        let (from, to) = (column(bubble.at - bubble.half_width), column(bubble.at + bubble.half_width));
        glass[from..=to].fill(if stale { old } else { full });
    }
    // The band's marks lie over the bubble: how far it reaches beyond one is what a level is for. Only a bubble as narrow as
    // a mark is not hidden by it.
    let alone = |at: usize| [at.wrapping_sub(1), at + 1].into_iter().all(|side| glass.get(side) == Some(&rail));
    let low = Some(-MARK).filter(|_| level.quantity != Quantity::SurfaceRise);
    let marks = [low, Some(MARK)].into_iter().flatten().map(column);
    for at in marks.filter(|at| level.band.is_some() && (glass[*at] == rail || !alone(*at))).collect::<Vec<_>>() {
        glass[at] = mark;
    }
    if let Some(at) = level.ahead.filter(|_| !stale && level.bubble.is_some()) {
        glass[column(at)] = ahead;
    }
    glass[0] = left_end;
    glass[last.max(1)] = right_end;
    glass.into_iter().collect()
}

fn section_picture(frame: &mut Frame<'_>, scene: &Scene<'_>, area: Rect) {
    let shades = if scene.look.unicode { ['·', '░', '▒', '▓', '█'] } else { ['.', ':', '+', '#', '@'] };
    let mut lines: Vec<Line<'_>> = (0..SIDE / 2)
        .map(|row| {
            let at = |x: usize, half: usize| scene.view.cells[(2 * row + half) * SIDE + x];
            // Two cells in one letter: half a shade where only one of them was gone over.
            let text: String = (0..SIDE).map(|x| shades[usize::from((at(x, 0) + at(x, 1)).min(4))]).collect();
            Line::raw(text)
        })
        .collect();
    let area = Rect { x: area.x + 1, width: area.width - 1, ..area };
    // A column too narrow for the sentence still has room for its figure.
    let percent = format!("{:.0} % reached", scene.view.covered * 100.0);
    let whole = format!("section {percent}");
    lines.push(Line::raw(if whole.chars().count() <= usize::from(area.width) { whole } else { percent }));
    frame.render_widget(Paragraph::new(lines), area);
}

fn pass_list(frame: &mut Frame<'_>, scene: &Scene<'_>, area: Rect) {
    let rows = usize::from(area.height);
    let passes = &scene.view.passes;
    if rows == 0 || passes.is_empty() {
        return;
    }
    // Newest first; a head line only where there is room for more than it.
    let with_head = rows >= 4;
    let room = rows - usize::from(with_head);
    let mut lines = Vec::new();
    if with_head {
        // A list that is cut must not look like all there is.
        let name =
            if passes.len() > room { format!("newest {room} of {}", passes.len()) } else { "today's passes".into() };
        lines.push(Line::styled(
            pass_line(&name, "took", ["strokes", "arm, 90 %", "in band", "warmest", "warned"]),
            Style::new().add_modifier(Modifier::BOLD),
        ));
    }
    lines.extend(passes.iter().rev().take(room).map(|pass| Line::raw(pass_text(pass))));
    frame.render_widget(Paragraph::new(lines), area);
}

fn pass_text(pass: &PassRow) -> String {
    let name = match pass.start_s {
        Some(_) => format!("section {} pass {}", pass.section, pass.pass),
        None => format!("earlier {} pass {}", pass.section, pass.pass),
    };
    let arm = pass.arm_90.as_ref().map_or_else(|| pass.arm.clone(), |range| format!("{} {range}", pass.arm));
    let (strokes, warnings) = (pass.strokes.to_string(), pass.warnings.to_string());
    pass_line(&name, &pass.took, [&strokes, &arm, &pass.in_band, &pass.warmest, &warnings])
}

/// A row of the list of passes: 80 columns, of which the arm's interval in in/s takes 19.
fn pass_line(name: &str, took: &str, [strokes, arm, in_band, warmest, warned]: [&str; 5]) -> String {
    // A pass of an hour takes its room from the name.
    let rest = 24_usize.saturating_sub(took.len());
    format!(" {name:<rest$}{took}{strokes:>8}{arm:>20}{in_band:>10}{warmest:>10}{warned:>7}")
}

fn bottom_line(frame: &mut Frame<'_>, scene: &Scene<'_>, area: Rect) {
    let bold = Style::new().add_modifier(Modifier::BOLD);
    let line = match (scene.prompt, &scene.view.notice) {
        (Some(Prompt::Line { label, text }), _) => {
            // The end of what is typed is what must be seen.
            let room = usize::from(area.width).saturating_sub(label.chars().count() + 5);
            let skip = text.chars().count().saturating_sub(room);
            let text: String = text.chars().skip(skip).collect();
            Line::styled(format!(" {label}: {text}_"), bold)
        }
        (Some(Prompt::Sure(question)), _) => Line::styled(format!(" {question} y or n"), bold),
        (None, Some(notice)) => Line::raw(format!(" {}", cut(notice, usize::from(area.width).saturating_sub(2)))),
        (None, None) => Line::default(),
    };
    frame.render_widget(Paragraph::new(line), area);
}

fn key_line(frame: &mut Frame<'_>, scene: &Scene<'_>, area: Rect) {
    let text = match scene.prompt {
        Some(Prompt::Line { .. }) => "  Enter keeps it   Esc leaves it".to_owned(),
        Some(Prompt::Sure(_)) => "  y yes   n no".to_owned(),
        None => keys_that_fit(scene, usize::from(area.width)),
    };
    frame.render_widget(Paragraph::new(Line::styled(text, Style::new().add_modifier(Modifier::REVERSED))), area);
}

/// The keys, those least missed left out until the rest fits; the one that stops never is.
fn keys_that_fit(scene: &Scene<'_>, columns: usize) -> String {
    let pause = if scene.view.paused { "p go on" } else { "p pause" };
    let sound = if scene.sound { "m sound off" } else { "m sound on" };
    let mut keys = vec!["s new section", "n note", "t technician", pause, sound];
    if scene.page {
        keys.push("l page");
    }
    keys.push(STOP_KEY);
    for least in ["l page", sound, "t technician", "n note", "s new section", pause] {
        let text = format!("  {}", keys.join("  "));
        if text.chars().count() <= columns {
            return text;
        }
        keys.retain(|key| *key != least);
    }
    STOP_KEY.to_owned()
}

/// Too small for the picture: words alone, the sentence first.
fn small(frame: &mut Frame<'_>, scene: &Scene<'_>, area: Rect) {
    let view = scene.view;
    let style = urgency_style(scene.look, view.urgency);
    let mut lines: Vec<Line<'_>> = view
        .sentence
        .iter()
        .flat_map(|text| wrap(text, usize::from(area.width.max(1))))
        .map(|line| Line::styled(line, style.add_modifier(Modifier::REVERSED)))
        .collect();
    lines.push(Line::raw(format!("{STOP_KEY}  {}  {}", view.elapsed, link_words(scene))));
    for level in &view.levels {
        lines.push(Line::raw(format!(
            "{} {} {}",
            level.name,
            level.reading.as_deref().unwrap_or("-"),
            with_arrow(level, scene.look)
        )));
    }
    match scene.prompt {
        Some(Prompt::Line { label, text }) => lines.push(Line::raw(format!("{label}: {text}_"))),
        Some(Prompt::Sure(question)) => lines.push(Line::raw(format!("{question} y or n"))),
        None => {}
    }
    frame.render_widget(Paragraph::new(lines), area);
}

/// Lines of at most `columns` letters, broken between words where that is possible.
pub(super) fn wrap(text: &str, columns: usize) -> Vec<String> {
    let columns = columns.max(1);
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= columns => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// The text, cut to `columns` letters.
fn cut(text: &str, columns: usize) -> String {
    text.chars().take(columns).collect()
}
