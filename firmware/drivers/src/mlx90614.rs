//! MLX90614 infrared thermometer over SMBus.
//!
//! Duty: the object and ambient words, each with its checksum checked. Every answer is three bytes: low byte, high byte
//! and a packet error code (PEC) over all bytes of the transfer, both addresses included.
//!
//! The driver has no way to write: the chip keeps its emissivity in EEPROM, which wears out and, half written, upsets the
//! factory calibration. Emissivity is corrected by the host.
//!
//! Sources: maker's data sheet 3901090614 (SMBus: address, read word, PEC) and application note 390119061402 (scaling and
//! error bit, p. 14; checksum, p. 19). The bus is limited to 100 kHz.

use crc::{CRC_8_SMBUS, Crc, NoTable};
use embedded_hal_async::i2c::I2c;
use steadypass_protocol::{Celsius, units::ZERO_CELSIUS_K};

/// Address as delivered (data sheet 3901090614; 7 bits).
pub const ADDRESS: u8 = 0x5A;

/// Kelvin per count of a temperature word (application note 390119061402, p. 14).
pub const KELVIN_PER_COUNT: f32 = 0.02;

/// Commands that read RAM (data sheet 3901090614, RAM table).
const RAM_AMBIENT: u8 = 0x06;
const RAM_OBJECT_1: u8 = 0x07;

/// The top bit of a word: the chip itself distrusts it (application note 390119061402, p. 14).
const ERROR_BIT: u16 = 0x8000;

const PEC: Crc<u8, NoTable> = Crc::<u8, NoTable>::new(&CRC_8_SMBUS);

/// Why there is no reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Error<E> {
    /// The transfer failed.
    #[error("no answer to command {command:#04x}: {bus:?}")]
    Bus {
        /// What was asked.
        command: u8,
        /// What the bus said.
        bus: E,
    },
    /// The answer was damaged on its way.
    #[error("answer to command {command:#04x} has checksum {found:#04x}, expected {expected:#04x}")]
    Checksum {
        /// What was asked.
        command: u8,
        /// Checksum that came.
        found: u8,
        /// Checksum of what came.
        expected: u8,
    },
    /// The chip marked the word as invalid.
    #[error("the chip marked its word {word:#06x} as invalid")]
    Flagged {
        /// The word.
        word: u16,
    },
}

/// A good temperature word, as the chip gave it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct TemperatureWord(u16);

impl TemperatureWord {
    /// Takes a word; `None` when the chip's error bit is set.
    pub fn new(word: u16) -> Option<Self> {
        (word & ERROR_BIT == 0).then_some(Self(word))
    }

    /// The counts: 0.02 K each, from absolute zero.
    pub fn counts(self) -> u16 {
        self.0
    }

    /// The temperature, °C.
    pub fn celsius(self) -> Celsius {
        Celsius(KELVIN_PER_COUNT * f32::from(self.0) - ZERO_CELSIUS_K as f32)
    }
}

/// The chip on its bus.
#[derive(Debug)]
pub struct Mlx90614<I2C> {
    i2c: I2C,
    address: u8,
}

impl<I2C: I2c> Mlx90614<I2C> {
    /// Takes the bus. `address` is [`ADDRESS`] unless the chip was given another one.
    pub fn new(i2c: I2C, address: u8) -> Self {
        Self { i2c, address }
    }

    /// Gives the bus back.
    pub fn release(self) -> I2C {
        self.i2c
    }

    /// Temperature of what the chip looks at, as of its last conversion.
    ///
    /// # Errors
    /// See [`Error`].
    pub async fn object(&mut self) -> Result<TemperatureWord, Error<I2C::Error>> {
        self.read_word(RAM_OBJECT_1).await
    }

    /// Temperature of the chip itself.
    ///
    /// # Errors
    /// See [`Error`].
    pub async fn ambient(&mut self) -> Result<TemperatureWord, Error<I2C::Error>> {
        self.read_word(RAM_AMBIENT).await
    }

    async fn read_word(&mut self, command: u8) -> Result<TemperatureWord, Error<I2C::Error>> {
        let mut answer = [0; 3];
        self.i2c.write_read(self.address, &[command], &mut answer).await.map_err(|bus| Error::Bus { command, bus })?;
        decode_answer(self.address, command, answer)
    }
}

/// Checks and reads the answer to `command`: low byte, high byte, PEC.
fn decode_answer<E>(address: u8, command: u8, answer: [u8; 3]) -> Result<TemperatureWord, Error<E>> {
    let [low, high, found] = answer;
    let expected = PEC.checksum(&[address << 1, command, address << 1 | 1, low, high]);
    if found != expected {
        return Err(Error::Checksum { command, found, expected });
    }
    let word = u16::from_le_bytes([low, high]);
    TemperatureWord::new(word).ok_or(Error::Flagged { word })
}

#[cfg(test)]
mod tests {
    use super::*;
    use embassy_futures::block_on;
    use embedded_hal_async::i2c::{ErrorKind, NoAcknowledgeSource};
    use embedded_hal_mock::eh1::i2c::{Mock, Transaction};

    const CODES: &str = include_str!("../../../data/reference/mlx90614_codes.csv");
    const VECTORS: &str = include_str!("../../../data/reference/mlx90614_vectors.csv");

    /// Rows of a reference table without its comment and header lines.
    fn rows(table: &str) -> impl Iterator<Item = Vec<&str>> {
        table.lines().filter(|l| !l.starts_with('#')).skip(1).map(|l| l.split(',').collect())
    }

    fn bytes(hex: &str) -> Vec<u8> {
        hex.split(' ').map(|b| u8::from_str_radix(b, 16).expect("hex byte")).collect()
    }

    #[test]
    fn published_words_read_as_published() {
        let mut seen = 0;
        for row in rows(CODES) {
            let word = u16::from_str_radix(row[0], 16).expect("hex word");
            let published: f32 = row[1].parse().expect("number");
            let read = TemperatureWord::new(word).expect("no error bit").celsius().0;
            assert!((read - published).abs() < 0.005, "{word:#06x}: {read} instead of {published}");
            seen += 1;
        }
        assert_eq!(seen, 3);
    }

    #[test]
    fn published_checksums_are_met_and_every_flipped_bit_is_caught() {
        let mut seen = 0;
        for row in rows(VECTORS) {
            let (message, published) = (bytes(row[0]), bytes(row[1])[0]);
            assert_eq!(PEC.checksum(&message), published, "{row:?}");
            for bit in 0..message.len() * 8 {
                let mut damaged = message.clone();
                damaged[bit / 8] ^= 1 << (bit % 8);
                assert_ne!(PEC.checksum(&damaged), published, "{row:?}, bit {bit}");
            }
            seen += 1;
        }
        assert_eq!(seen, 11);
    }

    /// Whole read-word transfers from the reference table, byte by byte on the bus.
    #[test]
    fn published_transfers_read_on_the_bus() {
        let mut seen = 0;
        for row in rows(VECTORS) {
            // Read-word transfers at 0x5A: B4, command, B5, low, high.
            let [0xB4, command, 0xB5, low, high] = bytes(row[0])[..] else { continue };
            let pec = bytes(row[1])[0];
            let published: f32 = row[2].parse().expect("number");
            let mock = Mock::new(&[Transaction::write_read(0x5A, vec![command], vec![low, high, pec])]);
            let mut chip = Mlx90614::new(mock, ADDRESS);
            let word = block_on(chip.read_word(command)).expect("good answer");
            assert!((word.celsius().0 - published).abs() < 0.005, "{row:?}");
            chip.release().done();
            seen += 1;
        }
        assert_eq!(seen, 7);
    }

    #[test]
    fn object_and_ambient_ask_for_their_own_words() {
        let mock = Mock::new(&[
            Transaction::write_read(0x5A, vec![0x07], vec![0xD2, 0x3A, 0x30]),
            Transaction::write_read(0x5A, vec![0x06], vec![0xE1, 0x39, 0xE9]),
        ]);
        let mut chip = Mlx90614::new(mock, ADDRESS);
        assert_eq!(block_on(chip.object()).map(TemperatureWord::counts), Ok(0x3AD2));
        assert_eq!(block_on(chip.ambient()).map(TemperatureWord::counts), Ok(0x39E1));
        chip.release().done();
    }

    #[test]
    fn a_damaged_answer_is_no_reading() {
        let mock = Mock::new(&[Transaction::write_read(0x5A, vec![0x07], vec![0xD3, 0x3A, 0x30])]);
        let mut chip = Mlx90614::new(mock, ADDRESS);
        let error = block_on(chip.object()).expect_err("one bit is wrong");
        assert!(matches!(error, Error::Checksum { command: 0x07, found: 0x30, .. }), "{error}");
        chip.release().done();
    }

    #[test]
    fn a_word_the_chip_distrusts_is_no_reading() {
        let (low, high) = (0xD2, 0xBA);
        let pec = PEC.checksum(&[0xB4, 0x07, 0xB5, low, high]);
        assert_eq!(decode_answer::<()>(0x5A, 0x07, [low, high, pec]), Err(Error::Flagged { word: 0xBAD2 }));
    }

    #[test]
    fn silence_names_what_was_asked() {
        let nack = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);
        let mock = Mock::new(&[Transaction::write_read(0x5A, vec![0x06], vec![0, 0, 0]).with_error(nack)]);
        let mut chip = Mlx90614::new(mock, ADDRESS);
        assert_eq!(block_on(chip.ambient()), Err(Error::Bus { command: 0x06, bus: nack }));
        chip.release().done();
    }
}
