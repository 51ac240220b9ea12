//! What light and buzzer show.
//!
//! Each pattern differs from the others in rhythm as well as in colour, so that it can be told apart on the plain light
//! alone, and by people who do not tell red from green.

use steadypass_protocol::Pattern;

/// What to show right now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Look {
    /// Three-colour light: red, green, blue, 0 to 100 %.
    pub rgb_percent: [u8; 3],
    /// Plain light.
    pub plain: bool,
    /// Buzzer tone, Hz.
    pub tone_hz: Option<u16>,
}

const GREEN: [u8; 3] = [0, 100, 0];
const AMBER: [u8; 3] = [100, 35, 0];
const BLUE: [u8; 3] = [0, 20, 100];
const RED: [u8; 3] = [100, 0, 0];
const WHITE: [u8; 3] = [60, 60, 60];

/// What `pattern` shows `since_ms` after it was chosen. All times are multiples of 20 ms, the step in which it is shown.
///
/// | pattern | light | rhythm | tone |
/// | --- | --- | --- | --- |
/// | off | dark | plain light blinks 60 ms every 2 s: the sensor is alive | none |
/// | steady | green | on | none |
/// | slow down | amber | 600 ms on, 600 ms off | one low beep a cycle |
/// | speed up | blue | 160 ms on, 160 ms off | two high beeps every 1.28 s |
/// | too hot | red | 400 ms on, 100 ms off | with the light |
/// | lost host | white | two flashes of 80 ms every second | none |
pub fn look(pattern: Pattern, since_ms: u64) -> Look {
    // What is on in each window of a cycle: (from, to) in ms.
    let at = |cycle_ms: u64, windows: &[(u64, u64)]| {
        let phase = since_ms % cycle_ms;
        windows.iter().any(|&(from, to)| (from..to).contains(&phase))
    };
    let lit = |colour: [u8; 3], on: bool, tone: Option<u16>| Look {
        rgb_percent: if on { colour } else { [0; 3] },
        plain: on,
        tone_hz: tone,
    };
    match pattern {
        Pattern::Off => Look { plain: at(2000, &[(0, 60)]), ..Look::default() },
        Pattern::Steady => lit(GREEN, true, None),
        Pattern::SlowDown => lit(AMBER, at(1200, &[(0, 600)]), at(1200, &[(0, 120)]).then_some(880)),
        Pattern::SpeedUp => lit(BLUE, at(320, &[(0, 160)]), at(1280, &[(0, 60), (120, 180)]).then_some(1760)),
        Pattern::TooHot => lit(RED, at(500, &[(0, 400)]), at(500, &[(0, 400)]).then_some(2637)),
        Pattern::LostHost => lit(WHITE, at(1000, &[(0, 80), (200, 280)]), None),
    }
}

/// `look` under the user's settings: brightness 0 to 100 %, buzzer on or off. The plain light has no brightness, but is
/// dark at 0 %.
pub fn adjusted(look: Look, light_percent: u8, buzzer: bool) -> Look {
    let dim = |percent: u8| (u16::from(percent) * u16::from(light_percent.min(100)) / 100) as u8;
    Look {
        rgb_percent: look.rgb_percent.map(dim),
        plain: look.plain && light_percent > 0,
        tone_hz: look.tone_hz.filter(|_| buzzer),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Pattern; 6] =
        [Pattern::Off, Pattern::Steady, Pattern::SlowDown, Pattern::SpeedUp, Pattern::TooHot, Pattern::LostHost];

    /// The plain light's rhythm over 6 s in 10 ms steps, several of the longest cycle.
    fn rhythm(pattern: Pattern) -> Vec<bool> {
        (0..600).map(|k| look(pattern, k * 10).plain).collect()
    }

    #[test]
    fn every_pattern_is_told_apart_by_rhythm_alone() {
        for (i, &a) in ALL.iter().enumerate() {
            for &b in &ALL[i + 1..] {
                let differing = rhythm(a).iter().zip(rhythm(b)).filter(|&(&x, y)| x != y).count();
                assert!(differing > 50, "{a:?} and {b:?} differ in {differing} of 600 steps");
            }
        }
    }

    #[test]
    fn only_warnings_sound() {
        for pattern in ALL {
            let sounds = (0..2000).any(|ms| look(pattern, ms).tone_hz.is_some());
            assert_eq!(
                sounds,
                matches!(pattern, Pattern::SlowDown | Pattern::SpeedUp | Pattern::TooHot),
                "{pattern:?}"
            );
        }
    }

    #[test]
    fn a_warning_shows_at_once() {
        for pattern in [Pattern::SlowDown, Pattern::SpeedUp, Pattern::TooHot, Pattern::LostHost] {
            assert!(look(pattern, 0).plain);
            assert_ne!(look(pattern, 0).rgb_percent, [0; 3]);
        }
    }

    #[test]
    fn settings_dim_and_silence() {
        let hot = look(Pattern::TooHot, 0);
        assert_eq!(adjusted(hot, 60, true).rgb_percent, [60, 0, 0]);
        assert_eq!(adjusted(hot, 100, false).tone_hz, None);
        let dark = adjusted(hot, 0, true);
        assert_eq!((dark.rgb_percent, dark.plain, dark.tone_hz), ([0; 3], false, Some(2637)));
    }
}
