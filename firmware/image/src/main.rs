//! `steadypass-image FIRMWARE.elf OUT.uf2`: writes the file for drag and drop, prints the size. Over budget it writes nothing and fails.

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
    convert(elf, uf2)
}

/// Writes `uf2` when what `elf` holds keeps to its budgets.
fn convert(elf: &str, uf2: &str) -> Result<(String, bool), Box<dyn Error>> {
    let image = fs::read(elf)
        .map_err(Box::<dyn Error>::from)
        .and_then(|file| Image::read(&file).map_err(Into::into))
        .map_err(|error| format!("{elf}: {error}"))?;
    let (line, fits) = size_line(image.flash.len() as f64 / 1024.0, image.ram_bytes as f64 / 1024.0);
    if fits {
        fs::write(uf2, uf2::encode(FLASH_START, &image.flash)).map_err(|error| format!("{uf2}: {error}"))?;
    }
    Ok((line, fits))
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
    use super::{convert, elf, size_line};
    use std::fs;

    #[test]
    fn only_what_keeps_to_its_budgets_is_written() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = |name| folder.path().join(name).to_str().expect("a name in letters").to_owned();
        for (kib, fits) in [(97, false), (96, true)] {
            fs::write(path("image.elf"), elf::tests::bootable(kib * 1024)).expect("written");
            let (_, kept) = convert(&path("image.elf"), &path("image.uf2")).expect("an image");
            assert_eq!((kept, fs::exists(path("image.uf2")).expect("seen")), (fits, fits), "{kib} KiB");
        }
    }

    #[test]
    fn either_budget_alone_can_be_broken() {
        assert!(size_line(96.0, 64.0).1);
        assert!(!size_line(96.1, 10.0).1);
        assert!(!size_line(10.0, 64.1).1);
        assert!(size_line(10.0, 64.1).0.contains("OVER BUDGET"));
    }
}
