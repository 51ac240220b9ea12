//! `ports`: which serial ports there are, the likely sensor marked.

use steadypass::link::list_ports;

use super::{Console, Done, Failure, Outcome};

pub(super) fn run(console: &Console) -> Outcome {
    let ports = list_ports();
    if console.json {
        console.result(&serde_json::to_string_pretty(&ports).map_err(Failure::failed)?)?;
        return Ok(Done::Fine);
    }
    let width = ports.iter().map(|p| p.name.len()).max().unwrap_or(0);
    for port in &ports {
        let mark = if port.likely { "*" } else { " " };
        console.result(format!("{mark} {:width$}  {}", port.name, port.description).trim_end())?;
    }
    if ports.is_empty() {
        console.remark(
            "No serial ports. Plug the sensor in; on a fresh system check that its cable carries data, not only power.",
        );
    } else if ports.iter().any(|p| p.likely) {
        console.remark("* says that it is a Steadypass sensor; `steadypass record` finds it by itself.");
    } else {
        console
            .remark("None of them says that it is a Steadypass sensor; name one with `steadypass record --port NAME`.");
    }
    Ok(Done::Fine)
}
