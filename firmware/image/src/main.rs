//! `steadypass-image FIRMWARE.elf OUT.uf2`: writes the file for drag and drop, prints the size, fails over budget.

mod elf;
mod uf2;

use elf::{FLASH_START, Image};
use std::{env, error::Error, fs, process::ExitCode};

/// Budgets, KiB. Boards with this chip have at least 2048 KiB of flash and 264 KiB of RAM; staying far below leaves the
/// stack room and keeps copying quick.
const FLASH_BUDGET_KIB: f64 = 96.0;
const RAM_BUDGET_KIB: f64 = 64.0;

#[allow(clippy::print_stdout, clippy::print_stderr, reason = "a command-line tool")]
fn main() -> ExitCode {
    match run() {
        Ok((line, fits)) => {
            println!("{line}");
            if fits { ExitCode::SUCCESS } else { ExitCode::FAILURE }
        }
        Err(error) => {
            eprintln!("steadypass-image: {error}");
            ExitCode::FAILURE
        }
    }
}

/// The size line, and whether the image keeps to its budgets.
fn run() -> Result<(String, bool), Box<dyn Error>> {
    let args: Vec<String> = env::args().skip(1).collect();
    let [elf, uf2] = &args[..] else { return Err("usage: steadypass-image FIRMWARE.elf OUT.uf2".into()) };
    let image = fs::read(elf)
        .map_err(Box::<dyn Error>::from)
        .and_then(|file| Image::read(&file).map_err(Into::into))
        .map_err(|error| format!("{elf}: {error}"))?;
    fs::write(uf2, uf2::encode(FLASH_START, &image.flash)).map_err(|error| format!("{uf2}: {error}"))?;
    Ok(size_line(image.flash.len() as f64 / 1024.0, image.ram_bytes as f64 / 1024.0))
}

fn size_line(flash_kib: f64, ram_kib: f64) -> (String, bool) {
    let fits = flash_kib <= FLASH_BUDGET_KIB && ram_kib <= RAM_BUDGET_KIB;
    let verdict = if fits { "fits" } else { "OVER BUDGET" };
    let line = format!(
        "firmware-size: flash {flash_kib:.1} of {FLASH_BUDGET_KIB} KiB, static RAM {ram_kib:.1} of {RAM_BUDGET_KIB} KiB: {verdict}"
    );
    (line, fits)
}

#[cfg(test)]
mod tests {
    use super::size_line;

    #[test]
    fn either_budget_alone_can_be_broken() {
        assert!(size_line(96.0, 64.0).1);
        assert!(!size_line(96.1, 10.0).1);
        assert!(!size_line(10.0, 64.1).1);
        assert!(size_line(10.0, 64.1).0.contains("OVER BUDGET"));
    }
}
