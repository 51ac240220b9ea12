//! Local gravity, which a resting accelerometer must read. Standard gravity everywhere would be wrong by up to 0.27 %.

/// Standard gravity, m/s² (CGPM 1901, exact).
pub const STANDARD_GRAVITY_MPS2: f64 = 9.806_65;

/// Normal gravity on the WGS84 ellipsoid, m/s², `latitude_deg` north or south, `height_m` above it. True gravity differs by
/// some 0.0005 m/s² at most places.
///
/// Closed form of Somigliana with the height series of the WGS84 definition (NIMA TR8350.2, equations 4-1 and 4-3, constants
/// from memory, checked against `data/reference/gravity.csv`).
pub fn normal_gravity_mps2(latitude_deg: f64, height_m: f64) -> f64 {
    const EQUATOR_MPS2: f64 = 9.780_325_335_9;
    const POLE_MPS2: f64 = 9.832_184_937_8;
    const MAJOR_M: f64 = 6_378_137.0;
    const MINOR_M: f64 = 6_356_752.314_2;
    const FLATTENING: f64 = 1.0 / 298.257_223_563;
    /// ω² a² b / GM.
    const SPIN: f64 = 0.003_449_786_506_84;
    let sin2 = latitude_deg.to_radians().sin().powi(2);
    let k = MINOR_M * POLE_MPS2 / (MAJOR_M * EQUATOR_MPS2) - 1.0;
    let eccentricity2 = FLATTENING * (2.0 - FLATTENING);
    let surface = EQUATOR_MPS2 * (1.0 + k * sin2) / (1.0 - eccentricity2 * sin2).sqrt();
    let h = height_m / MAJOR_M;
    surface * (1.0 - 2.0 * (1.0 + FLATTENING + SPIN - 2.0 * FLATTENING * sin2) * h + 3.0 * h * h)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_that_of_the_table() {
        // data/reference/gravity.csv, source in each row.
        let text = include_str!("../../../data/reference/gravity.csv");
        let mut rows = 0;
        for row in csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes()).records() {
            let row = row.unwrap();
            let tolerance = match &row[0] {
                "WGS84 Somigliana" | "WGS84 with height" => 1e-8,
                // Another formula, for legal metrology.
                "WELMEC" => 1e-4,
                _ => continue,
            };
            let number = |i: usize| row[i].parse::<f64>().unwrap();
            let got = normal_gravity_mps2(number(1), number(2));
            assert!((got - number(3)).abs() < tolerance, "{row:?}: {got:.10}");
            assert_eq!(got, normal_gravity_mps2(-number(1), number(2)));
            rows += 1;
        }
        assert_eq!(rows, 12);
    }
}
