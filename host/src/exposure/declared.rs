//! Magnitudes typed in: what a manual or label declares for a tool that carried no sensor.
//!
//! `NAME=A_HV:MINUTES`, for example `sander=4.5:30`. Where the manual states its uncertainty K, `sander=4.5+1.5:30`; where
//! only one hand held it, `sander@left=4.5:30`.

use std::str::FromStr;

use super::dose::{Basis, Contribution, Hand, Range};

/// Share of the magnitude that K is taken to be when the manual does not state it: UK health and safety executive circular
/// 246/31 (K may exceed 40 %; assume 40 % where it is absent).
const UNSTATED_K: f64 = 0.4;
/// Larger than any hand tool is declared with; a unit was mixed up.
const MOST_MPS2: f64 = 100.0;
/// Minutes of a day.
const MOST_MINUTES: f64 = 24.0 * 60.0;

/// One value typed in.
#[derive(Clone, Debug, PartialEq)]
pub struct Declared(pub Contribution);

/// Why it cannot be meant.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{text}`: {problem}; expected NAME=A_HV:MINUTES, for example sander=4.5:30, sander=4.5+1.5:30 with the manual's \
         uncertainty K, or sander@left=4.5:30 for one hand"
)]
pub struct DeclaredError {
    text: String,
    problem: String,
}

impl FromStr for Declared {
    type Err = DeclaredError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let fail = |problem: String| DeclaredError { text: text.to_owned(), problem };
        let number = |what: &str, word: &str, most: f64| {
            let value: f64 = word.trim().parse().map_err(|_| fail(format!("{what} `{word}` is not a number")))?;
            if value == 0.0 {
                Err(fail(format!("{what} must be above 0")))
            } else if value.is_finite() && value > 0.0 && value <= most {
                Ok(value)
            } else {
                Err(fail(format!("{what} {word} is outside 0 to {most}")))
            }
        };
        // A name may hold an equals sign; the figures cannot.
        let (name, figures) = text.rsplit_once('=').ok_or_else(|| fail("there is no `=`".into()))?;
        let (tool, hand) = match name.trim().rsplit_once('@') {
            Some((tool, "left")) => (tool, Hand::Left),
            Some((tool, "right")) => (tool, Hand::Right),
            Some((_, other)) => return Err(fail(format!("`@{other}` is neither @left nor @right"))),
            None => (name.trim(), Hand::Both),
        };
        let tool = tool.trim();
        if tool.is_empty() {
            return Err(fail("the tool has no name".into()));
        }
        let (magnitude, minutes) =
            figures.split_once(':').ok_or_else(|| fail("there is no `:` between magnitude and minutes".into()))?;
        let (a, k) = match magnitude.split_once('+') {
            Some((a, k)) => (a, Some(k)),
            None => (magnitude, None),
        };
        let a = number("the magnitude", a, MOST_MPS2)?;
        let k = k.map_or(Ok(UNSTATED_K * a), |k| number("the uncertainty K", k, MOST_MPS2))?;
        let minutes = number("the time in minutes", minutes, MOST_MINUTES)?;
        Ok(Self(Contribution {
            tool: tool.to_owned(),
            hand,
            basis: Basis::Declared,
            // Declared values understate rather than overstate: the lower bound is the value itself.
            a_hv_mps2: Range { lo: a, value: a, hi: a + k },
            hours: minutes / 60.0,
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_short_form_takes_the_usual_uncertainty() {
        let Declared(c) = "sander=4.5:30".parse().unwrap();
        assert_eq!((c.tool.as_str(), c.hand, c.basis, c.hours), ("sander", Hand::Both, Basis::Declared, 0.5));
        assert_eq!((c.a_hv_mps2.lo, c.a_hv_mps2.value), (4.5, 4.5));
        assert!((c.a_hv_mps2.hi - 6.3).abs() < 1e-12);
    }

    #[test]
    fn uncertainty_and_hand_can_be_given() {
        let Declared(c) = "size=5 sander@left = 4.5+1.5 : 30".parse().unwrap_or_else(|e| panic!("{e}"));
        assert_eq!((c.tool.as_str(), c.hand, c.a_hv_mps2.hi), ("size=5 sander", Hand::Left, 6.0));
    }

    #[test]
    fn what_cannot_be_meant_is_refused_with_its_reason() {
        for (text, reason) in [
            ("sander", "no `=`"),
            ("sander=4.5", "no `:`"),
            ("=4.5:30", "no name"),
            ("sander=fast:30", "`fast` is not a number"),
            ("sander=-1:30", "outside"),
            ("sander=NaN:30", "outside"),
            ("sander=4.5:2000", "outside 0 to 1440"),
            ("sander=450:10", "outside 0 to 100"),
            ("sander@foot=4.5:30", "@foot"),
            ("sander=4.5+0:30", "the uncertainty K must be above 0"),
            ("sander=0:30", "the magnitude must be above 0"),
            ("sander=4.5+k:30", "`k` is not a number"),
        ] {
            let message = text.parse::<Declared>().unwrap_err().to_string();
            assert!(message.contains(reason), "{text}: {message}");
            assert!(message.contains("sander=4.5:30"), "{message}");
        }
    }
}
