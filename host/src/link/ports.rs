//! Serial ports, and which of them is likely the sensor.

#[cfg(unix)]
use std::{
    fs,
    os::unix::fs::{FileTypeExt, MetadataExt},
    path::Path,
};

use tokio_serial::{SerialPortType, available_ports};

use super::LinkError;

/// Name that the sensor's firmware gives over USB.
const PRODUCT: &str = "Steadypass";

/// One serial port.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Port {
    /// Name to open it by.
    pub name: String,
    /// What is known of it, in words.
    pub description: String,
    /// Whether it says that it is our sensor.
    pub likely: bool,
}

/// All serial ports, likely sensors first.
///
/// Pseudo-terminals are never listed; they can be named all the same.
pub fn list_ports() -> Vec<Port> {
    // Without a list (a container without /sys) there are simply no ports to offer.
    let mut ports: Vec<Port> = available_ports().unwrap_or_default().into_iter().map(describe).collect();
    ports.sort_by(|a, b| (!a.likely, &a.name).cmp(&(!b.likely, &b.name)));
    ports
}

fn describe(port: tokio_serial::SerialPortInfo) -> Port {
    let (description, likely) = match port.port_type {
        SerialPortType::UsbPort(usb) => {
            let product = usb.product.unwrap_or_default();
            let words = [usb.manufacturer.unwrap_or_default(), product.clone(), usb.serial_number.unwrap_or_default()];
            let words: Vec<&str> = words.iter().map(|w| w.trim()).filter(|w| !w.is_empty()).collect();
            (format!("USB {:04x}:{:04x} {}", usb.vid, usb.pid, words.join(", ")), product.contains(PRODUCT))
        }
        SerialPortType::BluetoothPort => ("Bluetooth".into(), false),
        SerialPortType::PciPort => ("built in".into(), false),
        SerialPortType::Unknown => ("unknown kind".into(), false),
    };
    Port { name: port.port_name, description: description.trim().into(), likely }
}

/// The port to use when none was named: the only one that says it is a sensor.
///
/// # Errors
/// When there is none or more than one.
pub fn find_port() -> Result<String, LinkError> {
    let mut likely = likely();
    match (likely.pop(), likely.is_empty()) {
        (Some(one), true) => Ok(one),
        (Some(last), false) => Err(LinkError::Several { ports: likely.into_iter().chain([last]).collect() }),
        (None, _) => Err(LinkError::NoSensor { ports: list_ports().len() }),
    }
}

/// Ports that may be a sensor's.
pub(super) fn likely() -> Vec<String> {
    list_ports().into_iter().filter(|p| p.likely).map(|p| p.name).collect()
}

/// Looks at what `port` is before opening it, for a clear answer where the serial library would only say "not a typewriter".
#[cfg(unix)]
pub(super) fn check(port: &str) -> Result<(), LinkError> {
    let meta = match fs::metadata(port) {
        Ok(meta) => meta,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Err(LinkError::Missing { port: port.into() }),
        Err(e) => return Err(LinkError::Os { port: port.into(), message: e.to_string() }),
    };
    let kind = meta.file_type();
    let what = if kind.is_char_device() {
        return Ok(());
    } else if kind.is_dir() {
        "a folder"
    } else if kind.is_file() {
        "a file"
    } else {
        "something else"
    };
    Err(LinkError::NotAPort { port: port.into(), what })
}

/// Looks whether `port` is there: opening one that is not, and one that another program holds, give the same error here.
#[cfg(not(unix))]
pub(super) fn check(port: &str) -> Result<(), LinkError> {
    let is_listed = list_ports().iter().any(|p| p.name.eq_ignore_ascii_case(port));
    if is_listed { Ok(()) } else { Err(LinkError::Missing { port: port.into() }) }
}

/// Puts the serial library's error into words that help.
pub(super) fn explain(port: &str, error: &tokio_serial::Error) -> LinkError {
    use tokio_serial::ErrorKind as K;
    let port_name = port.to_owned();
    match error.kind() {
        #[cfg(unix)]
        K::Io(std::io::ErrorKind::PermissionDenied) => {
            LinkError::Permission { port: port_name, group: owning_group(port) }
        }
        // A port held by another program is reported as "no device", with this text.
        K::NoDevice if error.description.contains("exclusive lock") => LinkError::Busy { port: port_name },
        // See `check`.
        #[cfg(not(unix))]
        K::NoDevice => LinkError::Busy { port: port_name },
        K::Io(std::io::ErrorKind::ResourceBusy) => LinkError::Busy { port: port_name },
        #[cfg(unix)]
        K::NoDevice => LinkError::Missing { port: port_name },
        K::Io(std::io::ErrorKind::NotFound) => LinkError::Missing { port: port_name },
        _ if error.description.contains("typewriter") || error.description.contains("Inappropriate ioctl") => {
            LinkError::NotAPort { port: port_name, what: "a device of another kind" }
        }
        _ => LinkError::Os { port: port_name, message: error.description.clone() },
    }
}

/// Name of the group that owns the device file, or its number.
#[cfg(unix)]
fn owning_group(port: &str) -> String {
    let Ok(gid) = fs::metadata(Path::new(port)).map(|m| m.gid()) else { return "dialout".into() };
    let groups = fs::read_to_string("/etc/group").unwrap_or_default();
    let name = groups.lines().find_map(|line| {
        let mut fields = line.split(':');
        let (name, id) = (fields.next()?, fields.nth(1)?);
        (id.parse() == Ok(gid)).then(|| name.to_owned())
    });
    name.unwrap_or_else(|| gid.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_port_is_named() {
        assert_eq!(check("/nowhere/tty"), Err(LinkError::Missing { port: "/nowhere/tty".into() }));
        let folder = std::env::temp_dir();
        let name = folder.to_str().expect("utf-8");
        assert_eq!(check(name), Err(LinkError::NotAPort { port: name.into(), what: "a folder" }));
        assert_eq!(check("/dev/null"), Ok(()));
    }

    #[test]
    fn a_denied_port_names_its_group() {
        let denied = tokio_serial::Error::new(tokio_serial::ErrorKind::Io(std::io::ErrorKind::PermissionDenied), "no");
        let LinkError::Permission { group, .. } = explain("/dev/null", &denied) else { panic!("wrong kind") };
        assert_eq!(group, "root");
    }
}
