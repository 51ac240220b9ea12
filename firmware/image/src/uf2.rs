//! UF2: the file format that the chip's USB loader takes by drag and drop.
//!
//! A file of 512-byte blocks, each with its own address and 256 bytes of flash. Format: the public UF2 specification
//! (github.com/microsoft/uf2); family id and block size for this chip: RP2040 data sheet, section 2.8.4.2.

const MAGIC_START: [u32; 2] = [0x0A32_4655, 0x9E5D_5157];
const MAGIC_END: u32 = 0x0AB1_6F30;
const FLAG_FAMILY_ID: u32 = 0x0000_2000;
const FAMILY_RP2040: u32 = 0xE48B_FF56;
const PAYLOAD: usize = 256;
const BLOCK: usize = 512;

/// `flash`, which belongs at `address` (a multiple of 256), as a UF2 file. The last block is filled up with `0xFF`.
pub(crate) fn encode(address: u32, flash: &[u8]) -> Vec<u8> {
    let blocks = flash.chunks(PAYLOAD).len() as u32;
    let mut file = Vec::with_capacity(blocks as usize * BLOCK);
    for (number, payload) in (0..).zip(flash.chunks(PAYLOAD)) {
        let target = address + number * PAYLOAD as u32;
        let head =
            [MAGIC_START[0], MAGIC_START[1], FLAG_FAMILY_ID, target, PAYLOAD as u32, number, blocks, FAMILY_RP2040];
        let end = file.len() + BLOCK;
        file.extend(head.iter().flat_map(|word| word.to_le_bytes()));
        file.extend_from_slice(payload);
        file.resize(file.len() + PAYLOAD - payload.len(), 0xFF);
        file.resize(end - 4, 0);
        file.extend(MAGIC_END.to_le_bytes());
    }
    file
}

#[cfg(test)]
mod tests {
    use super::*;

    fn word(file: &[u8], at: usize) -> u32 {
        u32::from_le_bytes(file[at..at + 4].try_into().expect("four bytes"))
    }

    /// Offsets and values from the specification's block table.
    #[test]
    fn blocks_are_as_specified() {
        let flash: Vec<u8> = (0..600u32).map(|n| (n % 251) as u8).collect();
        let file = encode(0x1000_0000, &flash);
        assert_eq!(file.len(), 3 * 512);
        for (number, block) in file.chunks(512).enumerate() {
            assert_eq!((&block[..4], word(block, 4)), (&b"UF2\n"[..], 0x9E5D_5157));
            assert_eq!(word(block, 508), 0x0AB1_6F30);
            assert_eq!((word(block, 8), word(block, 28)), (0x2000, 0xE48B_FF56), "family id present");
            assert_eq!((word(block, 12), word(block, 16)), (0x1000_0000 + 256 * number as u32, 256));
            assert_eq!((word(block, 20), word(block, 24)), (number as u32, 3));
        }
        assert_eq!(file[512 + 32], (256 % 251) as u8);
        assert_eq!(&file[1024 + 32 + 88..1024 + 32 + 92], [0xFF; 4], "filled up as erased flash");
    }
}
