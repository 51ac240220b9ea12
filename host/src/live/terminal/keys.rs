//! What keys do. Pure: a key and what is being asked go in, a wish comes out.

use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::draw::Prompt;
use crate::live::board::Ask;
use crate::name;

/// Longest note that can be typed, letters.
const LONGEST_NOTE: usize = 200;

const NOTE: &str = "Note";
const TECHNICIAN: &str = "Who takes the machine";
const STOP: &str = "Stop and save the recording?";

/// What a key leads to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Deed {
    /// Nothing but a change of what is being asked.
    Nothing,
    /// A wish for the recorder.
    Ask(Ask),
    /// Sound on or off.
    Sound,
    /// Show or hide the page's address.
    Page,
}

/// What is being asked of the user.
#[derive(Clone, Debug, Default)]
pub struct Keys {
    /// Shown at the bottom.
    pub prompt: Option<Prompt>,
}

impl Keys {
    /// Takes a key.
    pub fn press(&mut self, key: KeyEvent, paused: bool) -> Deed {
        if key.kind == KeyEventKind::Release {
            return Deed::Nothing;
        }
        if key.modifiers.contains(KeyModifiers::CONTROL) {
            // In raw mode the terminal no longer makes a signal of it.
            return if matches!(key.code, KeyCode::Char('c' | 'd')) { Deed::Ask(Ask::Stop) } else { Deed::Nothing };
        }
        match self.prompt.take() {
            Some(Prompt::Line { label, text }) => self.typed(label, text, key.code),
            Some(Prompt::Sure(question)) => match key.code {
                KeyCode::Char('y' | 'Y') | KeyCode::Enter => Deed::Ask(Ask::Stop),
                KeyCode::Char('n' | 'N') | KeyCode::Esc => Deed::Nothing,
                _ => {
                    self.prompt = Some(Prompt::Sure(question));
                    Deed::Nothing
                }
            },
            None => self.command(key.code, paused),
        }
    }

    fn command(&mut self, code: KeyCode, paused: bool) -> Deed {
        let KeyCode::Char(letter) = code else { return Deed::Nothing };
        match letter.to_ascii_lowercase() {
            's' => Deed::Ask(Ask::NewSection),
            'p' => Deed::Ask(Ask::Pause(!paused)),
            'm' => Deed::Sound,
            'l' => Deed::Page,
            'n' => self.line(NOTE),
            't' => self.line(TECHNICIAN),
            'q' => {
                self.prompt = Some(Prompt::Sure(STOP));
                Deed::Nothing
            }
            _ => Deed::Nothing,
        }
    }

    fn line(&mut self, label: &'static str) -> Deed {
        self.prompt = Some(Prompt::Line { label, text: String::new() });
        Deed::Nothing
    }

    fn typed(&mut self, label: &'static str, mut text: String, code: KeyCode) -> Deed {
        match code {
            KeyCode::Esc => return Deed::Nothing,
            KeyCode::Enter => {
                let text = text.trim().to_owned();
                return match (text.is_empty(), label) {
                    (true, _) => Deed::Nothing,
                    (_, NOTE) => Deed::Ask(Ask::Note(text)),
                    _ => Deed::Ask(Ask::Technician(text)),
                };
            }
            KeyCode::Backspace => {
                text.pop();
            }
            KeyCode::Char(letter) if !letter.is_control() => {
                let longest = if label == NOTE { LONGEST_NOTE } else { name::MOST_CHARS };
                if text.chars().count() < longest {
                    text.push(letter);
                }
            }
            _ => {}
        }
        self.prompt = Some(Prompt::Line { label, text });
        Deed::Nothing
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(code: KeyCode) -> KeyEvent {
        KeyEvent::new(code, KeyModifiers::NONE)
    }

    fn press(keys: &mut Keys, text: &str) -> Vec<Deed> {
        text.chars()
            .map(|letter| match letter {
                '\n' => keys.press(key(KeyCode::Enter), false),
                '\x08' => keys.press(key(KeyCode::Backspace), false),
                letter => keys.press(key(KeyCode::Char(letter)), false),
            })
            .filter(|deed| *deed != Deed::Nothing)
            .collect()
    }

    #[test]
    fn a_note_may_hold_the_letters_that_are_keys() {
        let mut keys = Keys::default();
        assert_eq!(press(&mut keys, "nquite spotx\x08\n"), [Deed::Ask(Ask::Note("quite spot".into()))]);
        assert_eq!(press(&mut keys, "tTechnician B\n"), [Deed::Ask(Ask::Technician("Technician B".into()))]);
        assert_eq!(press(&mut keys, "n   \n"), [], "nothing written is nothing noted");
    }

    #[test]
    fn stopping_asks_first_but_control_c_does_not() {
        let mut keys = Keys::default();
        assert_eq!(press(&mut keys, "qxn"), []);
        assert_eq!(press(&mut keys, "qy"), [Deed::Ask(Ask::Stop)]);
        let mut typing = Keys::default();
        press(&mut typing, "nabc");
        let control_c = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
        assert_eq!(typing.press(control_c, false), Deed::Ask(Ask::Stop));
    }

    #[test]
    fn single_keys_do_what_the_line_at_the_bottom_says() {
        let mut keys = Keys::default();
        assert_eq!(press(&mut keys, "sml"), [Deed::Ask(Ask::NewSection), Deed::Sound, Deed::Page]);
        assert_eq!(keys.press(key(KeyCode::Char('p')), false), Deed::Ask(Ask::Pause(true)));
        assert_eq!(keys.press(key(KeyCode::Char('p')), true), Deed::Ask(Ask::Pause(false)));
        assert_eq!(keys.press(key(KeyCode::Up), false), Deed::Nothing);
    }
}
