//! What of the firmware's ELF file lies in flash, and how much RAM it takes before it runs.

use crc::{CRC_32_MPEG_2, Crc};
use object::read::elf::{ElfFile32, ProgramHeader};
use object::{Endianness, Object, ObjectSection, SectionKind, elf::PT_LOAD};

/// Where flash is mapped (RP2040 data sheet, section 2.2).
pub(crate) const FLASH_START: u32 = 0x1000_0000;
const FLASH_END: u32 = 0x1100_0000;
/// Bytes of the second-stage boot loader, checksum included (data sheet, section 2.8.1.3.1).
const BOOT2: usize = 256;

/// Why a file is no image for this chip.
#[derive(Debug, thiserror::Error)]
pub(crate) enum ElfError {
    #[error("not a 32-bit ELF file: {0}")]
    NotElf(#[from] object::Error),
    #[error("{bytes} bytes belong at {address:#010x}, which is not flash")]
    NotFlash { address: u32, bytes: usize },
    #[error(
        "{bytes} bytes that belong at {address:#010x} reach beyond its end: it is cut short or damaged; build it again"
    )]
    CutShort { address: u32, bytes: u32 },
    #[error("nothing in it belongs in flash")]
    Empty,
    #[error("the first 256 bytes are not a boot stage: checksum {found:#010x}, expected {expected:#010x}")]
    Boot2 { found: u32, expected: u32 },
}

/// The image and what it needs.
#[derive(Debug)]
pub(crate) struct Image {
    /// Flash from [`FLASH_START`] on, gaps as erased.
    pub(crate) flash: Vec<u8>,
    /// Statically used RAM, bytes: initialised and zeroed data, without the stack.
    pub(crate) ram_bytes: u64,
}

impl Image {
    pub(crate) fn read(file: &[u8]) -> Result<Self, ElfError> {
        let elf: ElfFile32<'_, Endianness> = ElfFile32::parse(file)?;
        let endian = elf.endian();
        let mut flash = Vec::new();
        for header in elf.elf_program_headers().iter().filter(|h| h.p_type(endian) == PT_LOAD) {
            let (address, len) = (header.p_paddr(endian), header.p_filesz(endian));
            // Only room in RAM; where its bytes would lie in the file means nothing.
            if len == 0 {
                continue;
            }
            let bytes = header.data(endian, file).map_err(|()| ElfError::CutShort { address, bytes: len })?;
            if !(FLASH_START..FLASH_END).contains(&address) || bytes.len() > (FLASH_END - address) as usize {
                return Err(ElfError::NotFlash { address, bytes: bytes.len() });
            }
            let at = (address - FLASH_START) as usize;
            if flash.len() < at + bytes.len() {
                flash.resize(at + bytes.len(), 0xFF);
            }
            flash[at..at + bytes.len()].copy_from_slice(bytes);
        }
        check_boot2(&flash)?;
        let in_ram = |kind| matches!(kind, SectionKind::Data | SectionKind::UninitializedData);
        let ram_bytes = elf.sections().filter(|s| in_ram(s.kind())).map(|s| s.size()).sum();
        Ok(Self { flash, ram_bytes })
    }
}

/// The chip's ROM starts flash only when its first 252 bytes match the checksum behind them (data sheet, section
/// 2.8.1.3.1: CRC-32 with polynomial 0x04C11DB7, start all ones, nothing reflected).
fn check_boot2(flash: &[u8]) -> Result<(), ElfError> {
    let (code, found) = flash.get(..BOOT2).and_then(<[u8]>::split_last_chunk::<4>).ok_or(ElfError::Empty)?;
    let (found, expected) = (u32::from_le_bytes(*found), Crc::<u32>::new(&CRC_32_MPEG_2).checksum(code));
    if found == expected { Ok(()) } else { Err(ElfError::Boot2 { found, expected }) }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// Where the bytes begin in an [`elf_file`] of two segments.
    const DATA_AT: u32 = 52 + 2 * 32;

    /// An ELF file for ARM, little endian, without sections, whose segments are (offset in the file, address, bytes).
    fn elf_file(segments: [(u32, u32, u32); 2], data: &[u8]) -> Vec<u8> {
        let mut file = vec![0x7F, b'E', b'L', b'F', 1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0];
        for half in [2u16, 40] {
            file.extend(half.to_le_bytes()); // executable, ARM
        }
        for word in [1u32, FLASH_START, 52, 0, 0] {
            file.extend(word.to_le_bytes()); // version, entry, program headers, section headers, flags
        }
        for half in [52u16, 32, 2, 40, 0, 0] {
            file.extend(half.to_le_bytes()); // sizes and counts of the headers
        }
        for (offset, address, len) in segments {
            for word in [PT_LOAD, offset, address, address, len, len.max(4), 5, 4] {
                file.extend(word.to_le_bytes());
            }
        }
        file.extend(data);
        file
    }

    /// An image of `len` bytes behind a good boot stage, and room in RAM whose place in the file means nothing.
    pub(crate) fn bootable(len: usize) -> Vec<u8> {
        let mut flash = vec![0xA5; len];
        let crc = Crc::<u32>::new(&CRC_32_MPEG_2).checksum(&flash[..252]);
        flash[252..256].copy_from_slice(&crc.to_le_bytes());
        elf_file([(DATA_AT, FLASH_START, len as u32), (u32::MAX, 0x2000_0000, 0)], &flash)
    }

    #[test]
    fn a_segment_beyond_the_end_of_the_file_is_an_error_that_names_its_address() {
        assert_eq!(Image::read(&bootable(300)).expect("whole").flash.len(), 300);
        let mut file = bootable(300);
        let second = 52 + 32;
        for (at, word) in [(4, DATA_AT + 260), (12, FLASH_START + 0x200), (16, 41)] {
            file[second + at..second + at + 4].copy_from_slice(&u32::to_le_bytes(word));
        }
        let error = Image::read(&file).expect_err("one byte is missing").to_string();
        assert!(error.starts_with("41 bytes that belong at 0x10000200 reach beyond its end"), "{error}");
        file.push(0);
        assert_eq!(Image::read(&file).expect("whole").flash.len(), 0x200 + 41);
    }

    #[test]
    fn a_boot_stage_needs_its_checksum() {
        let mut flash = vec![0u8; 300];
        let crc = Crc::<u32>::new(&CRC_32_MPEG_2).checksum(&flash[..252]);
        flash[252..256].copy_from_slice(&crc.to_le_bytes());
        assert!(check_boot2(&flash).is_ok());
        flash[7] ^= 1;
        assert!(matches!(check_boot2(&flash), Err(ElfError::Boot2 { .. })));
        assert!(matches!(check_boot2(&flash[..200]), Err(ElfError::Empty)));
    }

    #[test]
    fn what_is_no_elf_file_is_refused() {
        for file in [&b""[..], b"MZ", &[0x7F, b'E', b'L', b'F', 2, 1, 1, 0, 0, 0]] {
            assert!(matches!(Image::read(file), Err(ElfError::NotElf(_))));
        }
    }
}
