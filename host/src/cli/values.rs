//! Values as they are typed: one parser for each kind, so that a slip is told in the same plain words everywhere. Which range a
//! number may have is mostly the verb's to say.

use std::net::IpAddr;

use steadypass::{guidance::units::MM_PER_INCH, shop::film::UM_PER_MIL};

/// A number, with a point where there are decimals. NaN is one here: no range that a verb has holds it.
pub(super) fn a_number(text: &str) -> Result<f64, String> {
    let typed = text.trim();
    typed.parse().map_err(|_| {
        let pointed = typed.replacen(',', ".", 1);
        if pointed != typed && pointed.parse::<f64>().is_ok() {
            format!("write {pointed} with a point")
        } else {
            "expected a number such as 4 or 0.4, without its unit".to_owned()
        }
    })
}

/// What a film gauge reads, µm, typed in µm or with its unit behind it; one of several, which a comma may have been meant to part.
pub(super) fn a_reading(text: &str) -> Result<f64, String> {
    film_um(text).map_err(|why| {
        let several = text.split(',').map(film_um).collect::<Result<Vec<f64>, _>>();
        if several.is_err() || !text.contains(',') {
            return why;
        }
        let apart: Vec<&str> = text.split(',').map(str::trim).collect();
        let decimals = if apart.len() == 2 { format!("; one reading with decimals: {why}") } else { String::new() };
        format!("several readings stand apart, {}{decimals}", apart.join(" "))
    })
}

/// One figure of film, µm.
pub(crate) fn film_um(text: &str) -> Result<f64, String> {
    const UNITS: [(&str, f64); 5] = [("mils", UM_PER_MIL), ("mil", UM_PER_MIL), ("µm", 1.0), ("μm", 1.0), ("um", 1.0)];
    let (read, unit_um) = with_unit(text, &UNITS, "4.8mil", "expected a number such as 121 (in µm), or 4.8mil")?;
    // A gauge tells hundredths of a mil at most, 0.254 µm: what lies below a nanometre is the multiplication's.
    Ok(unit_um.filter(|um| *um != 1.0).map_or(read, |um| rounded(read * um, 1e3)))
}

/// Metres in an inch.
const M_PER_INCH: f64 = MM_PER_INCH / 1e3;

/// A length, m, with its unit: who thinks in inches and who thinks in millimetres type the same bare number for another length.
pub(super) fn a_length_m(text: &str) -> Result<f64, String> {
    const UNITS: [(&str, f64); 7] = [
        ("inches", M_PER_INCH),
        ("inch", M_PER_INCH),
        ("in", M_PER_INCH),
        ("\"", M_PER_INCH),
        ("mm", 1e-3),
        ("cm", 1e-2),
        ("m", 1.0),
    ];
    let (read, unit_m) =
        with_unit(text, &UNITS, "18in", "expected a length with its unit, such as 18in, 450mm or 0.45m")?;
    let unit_m = unit_m.ok_or_else(|| format!("in which unit? Write {read}in, {read}mm or {read}m"))?;
    Ok(rounded(read * unit_m, 1e6))
}

/// A speed, mm/s, with its unit.
pub(super) fn a_speed_mm_s(text: &str) -> Result<f64, String> {
    const UNITS: [(&str, f64); 4] = [("in/s", MM_PER_INCH), ("mm/s", 1.0), ("cm/s", 10.0), ("m/s", 1e3)];
    let (read, unit_mm_s) =
        with_unit(text, &UNITS, "0.8in/s", "expected a speed with its unit, such as 0.8in/s or 20mm/s")?;
    let unit_mm_s = unit_mm_s.ok_or_else(|| format!("in which unit? Write {read}in/s or {read}mm/s"))?;
    Ok(rounded(read * unit_mm_s, 1e6))
}

/// A time since the start, s: in seconds, or as clocks show it, with colons.
pub(super) fn a_time_s(text: &str) -> Result<f64, String> {
    let expected = || "expected seconds, min:s or h:min:s, such as 754, 12:34 or 1:02:30".to_owned();
    let mut parts = text.trim().rsplit(':');
    let seconds = a_number(parts.next().unwrap_or_default()).map_err(|_| expected())?;
    let above: Vec<u32> = parts.map(|part| part.parse().map_err(|_| expected())).collect::<Result<_, _>>()?;
    let (minutes, hours) = match above[..] {
        [] => return if seconds.is_finite() && seconds >= 0.0 { Ok(seconds) } else { Err(expected()) },
        [minutes] => (minutes, 0),
        [minutes @ 0..60, hours] => (minutes, hours),
        _ => return Err(expected()),
    };
    if (0.0..60.0).contains(&seconds) {
        Ok(f64::from(hours) * 3600.0 + f64::from(minutes) * 60.0 + seconds)
    } else {
        Err(expected())
    }
}

/// Without the digits that are a multiplication's own.
fn rounded(value: f64, steps: f64) -> f64 {
    (value * steps).round() / steps
}

/// A number, and what one of the unit behind it is worth; `None` for a bare number.
///
/// * `units`: each as it is typed, in small letters, one that ends in another before that.
/// * `example`, `expected`: what is said of a unit without its number, and of what is neither.
fn with_unit(text: &str, units: &[(&str, f64)], example: &str, expected: &str) -> Result<(f64, Option<f64>), String> {
    let typed = text.trim().to_lowercase();
    let unit = units.iter().find_map(|(unit, worth)| Some((typed.strip_suffix(unit)?, *worth)));
    let (number, worth) = unit.map_or((&*typed, None), |(number, worth)| (number, Some(worth)));
    if unit.is_some() && number.is_empty() {
        return Err(format!("a unit stands right behind its number, as in {example}"));
    }
    let read = a_number(number).map_err(|why| {
        let with_unit = format!("{} with a point", &typed[number.len()..]);
        if why.starts_with("write") { why.replace(" with a point", &with_unit) } else { expected.to_owned() }
    })?;
    Ok((read, worth))
}

/// A whole number of the size that `T` has room for.
pub(crate) fn a_whole_number<T: TryFrom<i128>>(text: &str) -> Result<T, String> {
    let typed = text.trim();
    let below_nought = T::try_from(-1).is_ok();
    let whole: i128 = typed.parse().map_err(|_| {
        if typed.parse::<f64>().is_ok_and(f64::is_finite) {
            "that is not a whole number; leave the decimals out".to_owned()
        } else {
            "that is not a whole number; write it in figures without a unit, such as 4".to_owned()
        }
    })?;
    T::try_from(whole).map_err(|_| {
        if whole < 0 && !below_nought {
            "expected a whole number of 0 or more".to_owned()
        } else {
            "that is too large a number".to_owned()
        }
    })
}

/// A whole number of a range.
pub(super) fn a_whole_number_within<T: TryFrom<i128>>(
    least: i128,
    most: i128,
) -> impl Fn(&str) -> Result<T, String> + Clone + Send + Sync + 'static {
    move |text| {
        let range = || format!("expected {least} to {most}");
        let whole = a_whole_number::<i128>(text)?;
        if (least..=most).contains(&whole) { T::try_from(whole).map_err(|_| range()) } else { Err(range()) }
    }
}

/// A port of this computer's network.
pub(super) fn a_port_number(text: &str) -> Result<u16, String> {
    a_whole_number_within(0, i128::from(u16::MAX))(text)
}

/// An address of this computer.
pub(super) fn an_address(text: &str) -> Result<IpAddr, String> {
    text.trim().parse().map_err(|_| {
        "expected an address of this computer in figures, such as 192.168.1.20, or 0.0.0.0 for all it has".to_owned()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_comma_is_told_from_what_is_no_number() {
        assert_eq!(a_number(" -0.4 "), Ok(-0.4));
        assert_eq!(a_number("0,4"), Err("write 0.4 with a point".to_owned()));
        for text in ["", "four", "0,4,1", "4mm"] {
            assert!(a_number(text).unwrap_err().contains("expected a number"), "{text}");
        }
    }

    #[test]
    fn readings_with_commas_between_them_stand_apart() {
        assert_eq!(a_reading("121.5"), Ok(121.5));
        let why = a_reading("121,122").unwrap_err();
        assert_eq!(why, "several readings stand apart, 121 122; one reading with decimals: write 121.122 with a point");
        assert_eq!(a_reading("121,122,120.5").unwrap_err(), "several readings stand apart, 121 122 120.5");
        assert!(a_reading("thick").unwrap_err().contains("expected a number"));
    }

    #[test]
    fn a_reading_may_have_its_unit() {
        // 1 mil = 25.4 µm by definition.
        for (text, um) in
            [("4.7mil", 119.38), (" 4.7 MIL", 119.38), ("5mils", 127.0), ("121um", 121.0), ("121 µm", 121.0)]
        {
            assert_eq!(a_reading(text), Ok(um), "{text}");
        }
        assert!(a_reading("mil").unwrap_err().contains("as in 4.8mil"));
        assert!(a_reading("4.7in").unwrap_err().contains("or 4.8mil"));
        assert_eq!(
            a_reading("4,7mil").unwrap_err(),
            "several readings stand apart, 4 7mil; one reading with decimals: write 4.7mil with a point"
        );
    }

    #[test]
    fn a_length_and_a_speed_have_their_unit() {
        // 1 in = 25.4 mm by definition.
        for (text, m) in [
            ("18in", 0.4572),
            ("18 IN", 0.4572),
            ("18\"", 0.4572),
            ("1inch", 0.0254),
            ("450mm", 0.45),
            ("45cm", 0.45),
            (" 0.45 m ", 0.45),
            ("-0.4m", -0.4),
        ] {
            assert_eq!(a_length_m(text), Ok(m), "{text}");
        }
        assert_eq!(a_length_m("18"), Err("in which unit? Write 18in, 18mm or 18m".to_owned()));
        assert_eq!(a_length_m("0,45m"), Err("write 0.45m with a point".to_owned()));
        assert_eq!(a_length_m("in"), Err("a unit stands right behind its number, as in 18in".to_owned()));
        for text in ["", "long", "18yd", "1ft6in", "18in/s"] {
            assert!(a_length_m(text).unwrap_err().contains("such as 18in, 450mm or 0.45m"), "{text}");
        }
        for (text, mm_s) in [("0.8in/s", 20.32), ("20mm/s", 20.0), ("2 cm/s", 20.0), ("0.02m/s", 20.0)] {
            assert_eq!(a_speed_mm_s(text), Ok(mm_s), "{text}");
        }
        assert_eq!(a_speed_mm_s("20"), Err("in which unit? Write 20in/s or 20mm/s".to_owned()));
        assert!(a_speed_mm_s("20in").unwrap_err().contains("such as 0.8in/s or 20mm/s"));
    }

    #[test]
    fn a_time_is_told_in_seconds_or_as_clocks_show_it() {
        for (text, s) in [("754", 754.0), ("12:34.5", 754.5), ("75:00", 4500.0), ("1:02:30", 3750.0), ("0", 0.0)] {
            assert_eq!(a_time_s(text), Ok(s), "{text}");
        }
        for text in ["", "-1", "NaN", "inf", "12:60", "12:-1", "1:60:00", "-1:00", "1:2:3:4", ":30", "soon", "12.5:00"]
        {
            assert!(a_time_s(text).is_err_and(|why| why.contains("12:34")), "{text}");
        }
    }

    #[test]
    fn whole_numbers_and_addresses_are_told_in_plain_words() {
        assert_eq!((a_whole_number::<i64>("-4"), a_whole_number::<u32>("4")), (Ok(-4), Ok(4)));
        for (text, words) in
            [("four", "in figures"), ("4.5", "decimals"), ("-4", "0 or more"), ("5000000000", "too large")]
        {
            assert!(a_whole_number::<u32>(text).unwrap_err().contains(words), "{text}");
        }
        assert_eq!(a_whole_number_within::<u8>(0, 100)("101"), Err("expected 0 to 100".to_owned()));
        assert_eq!(a_port_number("4747"), Ok(4747));
        assert!(an_address("0.0.0.0").is_ok() && an_address("::1").is_ok());
        assert!(an_address("999").unwrap_err().contains("192.168.1.20"));
    }
}
