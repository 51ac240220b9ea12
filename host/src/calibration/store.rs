//! The calibration folder: one TOML file for each sensor, named after its id.

use std::{
    env, fs,
    io::ErrorKind,
    path::{Path, PathBuf},
};

use super::{Calibration, CalibrationError};
use crate::unfinished::Unfinished;

/// Folder of the user: `$XDG_CONFIG_HOME/steadypass/calibration`, or under `~/.config` (XDG base directory specification);
/// `%APPDATA%` where there is no home.
///
/// # Errors
/// [`CalibrationError::NoHome`].
pub fn default_folder() -> Result<PathBuf, CalibrationError> {
    // The specification says to ignore relative paths.
    let folder = |name: &str| env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
    folder("XDG_CONFIG_HOME")
        .or_else(|| folder("HOME").map(|home| home.join(".config")))
        .or_else(|| folder("APPDATA"))
        .map(|config| config.join("steadypass").join("calibration"))
        .ok_or(CalibrationError::NoHome)
}

/// Calibration of a sensor, if there is one.
///
/// # Errors
/// When the file cannot be read or is no calibration.
pub fn load(folder: &Path, sensor: &str) -> Result<Option<Calibration>, CalibrationError> {
    let path = file(folder, sensor)?;
    let text = match fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(source) => return Err(CalibrationError::Io { what: "read", path, source }),
    };
    let calibration = Calibration::from_toml(&text)
        .map_err(|problem| CalibrationError::File { path: path.clone(), problem: Box::new(problem) })?;
    if calibration.sensor != sensor {
        let problem = format!("it says it is of sensor {}, expected {sensor}", calibration.sensor);
        return Err(CalibrationError::File { path, problem: Box::new(CalibrationError::Unreadable { problem }) });
    }
    Ok(Some(calibration))
}

/// Keeps a calibration, replacing the sensor's earlier one at once or not at all. Returns the file's path.
///
/// # Errors
/// When the folder cannot be written, or the figures are implausible.
pub fn save(folder: &Path, calibration: &Calibration) -> Result<PathBuf, CalibrationError> {
    calibration.check()?;
    let path = file(folder, &calibration.sensor)?;
    const NAME: &str = "calibration.toml";
    let written = Unfinished::within(folder).and_then(|unfinished| {
        fs::write(unfinished.folder().join(NAME), calibration.to_toml())?;
        unfinished.place(NAME, &path)
    });
    match written {
        Ok(()) => Ok(path),
        Err(source) => Err(CalibrationError::Io { what: "write", path, source }),
    }
}

/// File of a sensor. The id comes from outside: nothing but letters, digits and dashes may name a file.
fn file(folder: &Path, sensor: &str) -> Result<PathBuf, CalibrationError> {
    let harmless =
        !sensor.is_empty() && sensor.len() <= 64 && sensor.chars().all(|c| c.is_ascii_alphanumeric() || c == '-');
    if !harmless {
        return Err(CalibrationError::NoSensor(sensor.to_owned()));
    }
    Ok(folder.join(format!("{sensor}.toml")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_kept_comes_back_and_others_are_not_known() {
        let folder = tempfile::tempdir().unwrap();
        let inner = folder.path().join("a").join("b");
        let calibration = Calibration { valid_days: 30, ..Calibration::of("e660a1") };
        assert_eq!(load(&inner, "e660a1"), Ok(None));
        save(&inner, &calibration).unwrap();
        save(&inner, &calibration).unwrap();
        assert_eq!(load(&inner, "e660a1"), Ok(Some(calibration)));
        assert_eq!(load(&inner, "e660a2"), Ok(None));
        assert_eq!(fs::read_dir(&inner).unwrap().count(), 1);
    }

    #[test]
    fn damaged_and_foreign_files_are_named() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("aa.toml"), "sensor = \"aa\"\nvalid_days = \"long\"").unwrap();
        let message = load(folder.path(), "aa").unwrap_err().to_string();
        assert!(
            message.contains("aa.toml: this is no calibration: line 2: ") && message.contains("string \"long\""),
            "{message}"
        );
        fs::write(folder.path().join("aa.toml"), "\u{0}\u{1}garbage [[[\n=").unwrap();
        let message = load(folder.path(), "aa").unwrap_err().to_string();
        assert!(
            !message.contains('\n') && message.ends_with("; correct it, or move it away and calibrate anew"),
            "{message}"
        );
        fs::write(folder.path().join("bb.toml"), Calibration::of("cc").to_toml()).unwrap();
        assert!(load(folder.path(), "bb").unwrap_err().to_string().contains("of sensor cc, expected bb"));
    }

    #[test]
    fn an_id_cannot_lead_out_of_the_folder() {
        for id in ["", "../x", "a/b", "a.b", "ü"] {
            assert_eq!(load(Path::new("."), id), Err(CalibrationError::NoSensor(id.to_owned())));
        }
    }
}
