//! Values as they are typed: one parser for each kind, so that a slip is told in the same plain words everywhere. Which range a
//! number may have is mostly the verb's to say.

use std::net::IpAddr;

use steadypass::shop::film::UM_PER_MIL;

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
    let typed = text.trim().to_lowercase();
    let unit = UNITS.iter().find_map(|(unit, um)| Some((typed.strip_suffix(unit)?, *um)));
    let (number, unit_um) = unit.unwrap_or((&typed, 1.0));
    if unit.is_some() && number.is_empty() {
        return Err("a unit stands right behind its number, as in 4.8mil".to_owned());
    }
    let read = a_number(number).map_err(|why| {
        let with_unit = format!("{} with a point", &typed[number.len()..]);
        if why.starts_with("write") {
            why.replace(" with a point", &with_unit)
        } else {
            "expected a number such as 121 (in µm), or 4.8mil".to_owned()
        }
    })?;
    // A gauge tells hundredths of a mil at most, 0.254 µm: what lies below a nanometre is the multiplication's.
    Ok(if unit_um == 1.0 { read } else { (read * unit_um * 1e3).round() / 1e3 })
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
