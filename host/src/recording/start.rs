//! When a recording began, as text: RFC 3339 to the second, with the zone of the shop. The day of a piece of work is the day that
//! this clock showed.

use jiff::{SignedDuration, ZonedDateTime};

const FORM: &str = "%Y-%m-%dT%H:%M:%S%:z";

/// A moment as a recording keeps it.
pub fn start_text(moment: &ZonedDateTime) -> String {
    moment.strftime(FORM).to_string()
}

/// The moment of such a text; `None` where it is none.
pub fn start_of(text: &str) -> Option<ZonedDateTime> {
    ZonedDateTime::strptime(FORM, text).ok()
}

/// The moment so many seconds after a start.
pub fn moment_at(start: &ZonedDateTime, t_s: f64) -> Option<ZonedDateTime> {
    start.checked_add(SignedDuration::try_from_secs_f64(t_s).ok()?).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_start_keeps_its_clock_and_its_zone() {
        for text in ["2026-03-02T23:59:58+01:00", "2026-10-25T02:10:00-03:30", "2028-02-29T00:00:00+00:00"] {
            let start = start_of(text).expect("a start");
            assert_eq!(start_text(&start), text);
            let later = moment_at(&start, 86_400.0).expect("a day later");
            assert_eq!(
                (later.date(), &start_text(&later)[10..]),
                (start.date().tomorrow().expect("a day"), &text[10..])
            );
        }
        for text in ["", "yesterday", "2026-03-02", "2026-02-30T08:00:00+01:00"] {
            assert_eq!(start_of(text), None, "{text}");
        }
    }
}
