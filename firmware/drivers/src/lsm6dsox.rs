//! LSM6DSOX accelerometer and gyro over I2C, read through its own buffer (FIFO).
//!
//! Duty: identity, set-up that is read back, and bursts of tagged words from the FIFO in the order the chip took them.
//!
//! Terms: a *word* is seven bytes, a tag that names the sensor and six bytes of data. A *slot* is one tick of the fastest
//! batched sensor; words of one slot carry the same two-bit slot counter.
//!
//! Times are not read from the chip. Its time stamps come from the same oscillator as its samples, which is up to a few
//! percent off: they would agree with the sample count and still be wrong. The spacing is measured by counting samples
//! against the microcontroller's crystal instead.
//!
//! Sources: data sheet DS12814 p. 34 (section 6.5.7: a FIFO word is the tag at 78h and six bytes at 79h to 7Eh; the level is the
//! ten bits `DIFF_FIFO` of 3Ah and 3Bh), the vendor's public register header (lsm6dsox_reg.h, BSD-3-Clause: register numbers,
//! fields, codes of rates and ranges, tags; the data sheet's own register pages, sections 8 and 9, were not at hand) and DS12140
//! p. 10-11 of the sibling chip (sensitivities). Reading several words in one transfer from the tag register on is how the
//! vendor's own board support code reads the FIFO.

use embedded_hal_async::i2c::I2c;
use steadypass_protocol::Celsius;

/// Address with pin SA0 low; with SA0 high it is `0x6B`.
pub const ADDRESS: u8 = 0x6A;

/// Bytes of one FIFO word (DS12814 p. 34).
pub const WORD_BYTES: usize = 7;

/// Words the FIFO holds (3 kB without compression, DS12814 section 6.5).
pub const FIFO_WORDS: u16 = 512;

/// Time the sensors need after [`Lsm6dsox::set_up`] before [`Lsm6dsox::start_fifo`]: the gyro takes 70 ms to turn on
/// (DS12140, table of electrical characteristics, from memory).
pub const SETTLING_MS: u32 = 100;

/// Gyro resolution at ±2000 °/s, millidegrees per second per count (DS12140 p. 10).
pub const GYRO_MDPS_PER_COUNT: f64 = 70.0;

/// Register numbers (vendor header).
mod register {
    pub(super) const FUNC_CFG_ACCESS: u8 = 0x01;
    pub(super) const FIFO_CTRL1: u8 = 0x07;
    pub(super) const FIFO_CTRL2: u8 = 0x08;
    pub(super) const FIFO_CTRL3: u8 = 0x09;
    pub(super) const FIFO_CTRL4: u8 = 0x0A;
    pub(super) const WHO_AM_I: u8 = 0x0F;
    pub(super) const CTRL1_XL: u8 = 0x10;
    pub(super) const CTRL2_G: u8 = 0x11;
    pub(super) const CTRL3_C: u8 = 0x12;
    pub(super) const CTRL9_XL: u8 = 0x18;
    pub(super) const OUT_TEMP_L: u8 = 0x20;
    pub(super) const FIFO_STATUS1: u8 = 0x3A;
    pub(super) const FIFO_DATA_OUT_TAG: u8 = 0x78;
}
use register::*;

/// Content of `WHO_AM_I` (vendor header).
const IDENTITY: u8 = 0x6C;
/// `CTRL3_C`: block data update, address increment.
const BDU_IF_INC: u8 = 0x44;
/// `CTRL3_C`: address increment (the reset value) and software reset.
const SOFTWARE_RESET: u8 = 0x05;
/// `CTRL9_XL`: reset value with I3C switched off, so that an unlucky INT1 level cannot select it.
const I3C_OFF: u8 = 0xE2;
/// `CTRL2_G`, bits 3:2: ±2000 °/s. Vibration of the machine must not clip the gyro; its noise at this range does not matter.
const GYRO_2000_DPS: u8 = 0b11 << 2;
/// `FIFO_CTRL4`: FIFO empty and off; new words replace the oldest.
const FIFO_BYPASS: u8 = 0;
const FIFO_CONTINUOUS: u8 = 6;
/// Reads of `CTRL3_C` until the reset must be over. The reset takes about 50 µs (from memory), one read at 400 kHz about
/// 100 µs.
const RESET_POLLS: usize = 20;

/// Output and batch rate of one sensor: nominal values; the true rate is up to a few percent off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Rate {
    /// 208 Hz.
    Hz208 = 5,
    /// 417 Hz.
    Hz417 = 6,
    /// 833 Hz.
    Hz833 = 7,
    /// 1667 Hz.
    Hz1667 = 8,
    /// 3333 Hz.
    Hz3333 = 9,
}

impl Rate {
    /// Nominal rate, mHz.
    pub fn nominal_mhz(self) -> u32 {
        match self {
            Self::Hz208 => 208_000,
            Self::Hz417 => 417_000,
            Self::Hz833 => 833_000,
            Self::Hz1667 => 1_667_000,
            Self::Hz3333 => 3_333_000,
        }
    }
}

/// Range of the accelerometer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AccelRange {
    /// ±4 g.
    G4,
    /// ±8 g.
    G8,
    /// ±16 g.
    G16,
}

impl AccelRange {
    /// The range of `g` standard gravities, if the chip has it.
    pub fn from_g(g: u8) -> Option<Self> {
        match g {
            4 => Some(Self::G4),
            8 => Some(Self::G8),
            16 => Some(Self::G16),
            _ => None,
        }
    }

    /// Bits 3:2 of `CTRL1_XL`; 0b01 is ±16 g (vendor header).
    fn code(self) -> u8 {
        match self {
            Self::G16 => 0b01,
            Self::G4 => 0b10,
            Self::G8 => 0b11,
        }
    }

    /// Thousandths of a standard gravity per count (DS12140 p. 10).
    pub fn mg_per_count(self) -> f64 {
        match self {
            Self::G4 => 0.122,
            Self::G8 => 0.244,
            Self::G16 => 0.488,
        }
    }
}

/// How the chip is set up. The gyro always has ±2000 °/s.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Setup {
    /// Accelerometer rate; its bandwidth is half of it (`CTRL1_XL` bit 1 clear).
    pub accel_rate: Rate,
    /// Accelerometer range.
    pub accel_range: AccelRange,
    /// Gyro rate.
    pub gyro_rate: Rate,
}

impl Setup {
    /// Registers that hold the set-up once the FIFO runs, in the order they are written.
    fn registers(self) -> [(u8, u8); 8] {
        [
            (CTRL9_XL, I3C_OFF),
            (CTRL3_C, BDU_IF_INC),
            (FIFO_CTRL1, 0),
            (FIFO_CTRL2, 0),
            (FIFO_CTRL3, (self.gyro_rate as u8) << 4 | self.accel_rate as u8),
            (CTRL1_XL, (self.accel_rate as u8) << 4 | self.accel_range.code() << 2),
            (CTRL2_G, (self.gyro_rate as u8) << 4 | GYRO_2000_DPS),
            (FIFO_CTRL4, FIFO_CONTINUOUS),
        ]
    }
}

/// Why the chip cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Error<E> {
    /// The transfer failed.
    #[error("no answer at register {register:#04x}: {bus:?}")]
    Bus {
        /// Register that was read or written.
        register: u8,
        /// What the bus said.
        bus: E,
    },
    /// Something else answers at this address.
    #[error("identity {found:#04x}, expected 0x6c")]
    WrongChip {
        /// Identity found.
        found: u8,
    },
    /// The chip does not come back from its reset.
    #[error("the software reset does not end")]
    ResetStuck,
    /// A register did not take what was written.
    #[error("register {register:#04x} holds {found:#04x}, expected {expected:#04x}")]
    NotTaken {
        /// The register.
        register: u8,
        /// What it holds.
        found: u8,
        /// What was written.
        expected: u8,
    },
}

/// How full the FIFO is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FifoLevel {
    /// Words that wait, 0 to 512.
    pub words: u16,
    /// Whether words were overwritten since the level was last read.
    pub overrun: bool,
}

impl FifoLevel {
    /// Reads `FIFO_STATUS1` and `FIFO_STATUS2`: level in ten bits (DS12814 p. 34), overrun in bit 6, latched overrun in bit 3
    /// (vendor header).
    fn decode(status: [u8; 2]) -> Self {
        let words = u16::from(status[1] & 0x03) << 8 | u16::from(status[0]);
        Self { words, overrun: status[1] & 0b0100_1000 != 0 }
    }
}

/// Which sensor a FIFO word is from (tag values of the vendor header).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Source {
    /// Gyro, three axes.
    Gyro,
    /// Accelerometer, three axes.
    Accel,
    /// A sensor that this driver does not batch; also what an empty FIFO gives.
    Other(u8),
}

/// One FIFO word.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Word {
    /// Which sensor it is from.
    pub source: Source,
    /// Slot counter, 0 to 3.
    pub slot: u8,
    /// x, y and z as little-endian 16-bit numbers.
    pub data: [u8; 6],
}

impl Word {
    /// Reads one word: the tag has the sensor in bits 7:3, the slot counter in 2:1 and a parity bit, which is not needed.
    pub fn decode(bytes: [u8; WORD_BYTES]) -> Self {
        let [tag, data @ ..] = bytes;
        let source = match tag >> 3 {
            1 => Source::Gyro,
            2 => Source::Accel,
            other => Source::Other(other),
        };
        Self { source, slot: tag >> 1 & 0b11, data }
    }
}

/// Temperature word to temperature: 256 counts per kelvin, zero at 25 °C (DS12140, temperature sensor characteristics).
pub fn die_temperature(word: i16) -> Celsius {
    Celsius(25.0 + f32::from(word) / 256.0)
}

/// The chip on its bus.
#[derive(Debug)]
pub struct Lsm6dsox<I2C> {
    i2c: I2C,
    address: u8,
}

impl<I2C: I2c> Lsm6dsox<I2C> {
    /// Takes the bus. `address` is [`ADDRESS`] or, with SA0 high, `0x6B`.
    pub fn new(i2c: I2C, address: u8) -> Self {
        Self { i2c, address }
    }

    /// Gives the bus back.
    pub fn release(self) -> I2C {
        self.i2c
    }

    /// Checks that it is this chip that answers.
    ///
    /// # Errors
    /// [`Error::Bus`], [`Error::WrongChip`].
    pub async fn identify(&mut self) -> Result<(), Error<I2C::Error>> {
        match self.read_one(WHO_AM_I).await? {
            IDENTITY => Ok(()),
            found => Err(Error::WrongChip { found }),
        }
    }

    /// Resets the chip and starts both sensors, FIFO off. Wait [`SETTLING_MS`], then [`Lsm6dsox::start_fifo`].
    ///
    /// # Errors
    /// See [`Error`].
    pub async fn set_up(&mut self, setup: Setup) -> Result<(), Error<I2C::Error>> {
        // A chip that was left in another register bank (a reset of the microcontroller alone) comes back to this one.
        self.write(FUNC_CFG_ACCESS, 0).await?;
        self.identify().await?;
        self.write(CTRL3_C, SOFTWARE_RESET).await?;
        let mut polls = 0;
        while self.read_one(CTRL3_C).await? & 1 != 0 {
            polls += 1;
            if polls == RESET_POLLS {
                return Err(Error::ResetStuck);
            }
        }
        for (register, value) in setup.registers() {
            let value = if register == FIFO_CTRL4 { FIFO_BYPASS } else { value };
            self.write(register, value).await?;
        }
        Ok(())
    }

    /// Empties the FIFO, lets it run and reads the whole set-up back.
    ///
    /// # Errors
    /// [`Error::Bus`], [`Error::NotTaken`].
    pub async fn start_fifo(&mut self, setup: Setup) -> Result<(), Error<I2C::Error>> {
        self.write(FIFO_CTRL4, FIFO_BYPASS).await?;
        self.write(FIFO_CTRL4, FIFO_CONTINUOUS).await?;
        self.check(setup).await
    }

    /// Whether the chip still runs as set up: it does not after it lost power.
    ///
    /// # Errors
    /// [`Error::Bus`], [`Error::NotTaken`].
    pub async fn check(&mut self, setup: Setup) -> Result<(), Error<I2C::Error>> {
        for (register, expected) in setup.registers() {
            let found = self.read_one(register).await?;
            if found != expected {
                return Err(Error::NotTaken { register, found, expected });
            }
        }
        Ok(())
    }

    /// How full the FIFO is. Reading it clears the latched overrun.
    ///
    /// # Errors
    /// [`Error::Bus`].
    pub async fn fifo_level(&mut self) -> Result<FifoLevel, Error<I2C::Error>> {
        let mut status = [0; 2];
        self.read(FIFO_STATUS1, &mut status).await?;
        Ok(FifoLevel::decode(status))
    }

    /// Reads as many words as `buffer` holds, in one transfer, oldest first. Never ask for more than wait.
    ///
    /// # Errors
    /// [`Error::Bus`]; an unknown part of the words is then gone from the FIFO.
    pub async fn read_fifo<'b>(
        &mut self,
        buffer: &'b mut [u8],
    ) -> Result<impl Iterator<Item = Word> + use<'b, I2C>, Error<I2C::Error>> {
        let whole = buffer.len() - buffer.len() % WORD_BYTES;
        let words = &mut buffer[..whole];
        // Behind the last data register the chip's address pointer goes back to the tag of the next word.
        self.read(FIFO_DATA_OUT_TAG, words).await?;
        let (words, _) = words.as_chunks::<WORD_BYTES>();
        Ok(words.iter().map(|&word| Word::decode(word)))
    }

    /// Temperature of the chip.
    ///
    /// # Errors
    /// [`Error::Bus`].
    pub async fn die_temperature(&mut self) -> Result<Celsius, Error<I2C::Error>> {
        let mut word = [0; 2];
        self.read(OUT_TEMP_L, &mut word).await?;
        Ok(die_temperature(i16::from_le_bytes(word)))
    }

    async fn read(&mut self, register: u8, buffer: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        self.i2c.write_read(self.address, &[register], buffer).await.map_err(|bus| Error::Bus { register, bus })
    }

    async fn read_one(&mut self, register: u8) -> Result<u8, Error<I2C::Error>> {
        let mut value = [0];
        self.read(register, &mut value).await?;
        Ok(value[0])
    }

    async fn write(&mut self, register: u8, value: u8) -> Result<(), Error<I2C::Error>> {
        self.i2c.write(self.address, &[register, value]).await.map_err(|bus| Error::Bus { register, bus })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use embassy_futures::block_on;
    use embedded_hal_async::i2c::{ErrorKind, NoAcknowledgeSource};
    use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
    use proptest::prelude::*;

    const SETUP: Setup = Setup { accel_rate: Rate::Hz1667, accel_range: AccelRange::G16, gyro_rate: Rate::Hz208 };

    fn read(register: u8, answer: &[u8]) -> Transaction {
        Transaction::write_read(0x6A, vec![register], answer.to_vec())
    }

    fn write(register: u8, value: u8) -> Transaction {
        Transaction::write(0x6A, vec![register, value])
    }

    fn chip(script: &[Transaction]) -> Lsm6dsox<Mock> {
        Lsm6dsox::new(Mock::new(script), ADDRESS)
    }

    /// Every byte of the set-up. Numbers written out here, from the vendor header, not taken from the code.
    #[test]
    fn set_up_is_byte_exact() {
        let mut chip = chip(&[
            write(0x01, 0x00),
            read(0x0F, &[0x6C]),
            write(0x12, 0x05),
            read(0x12, &[0x05]),
            read(0x12, &[0x04]),
            write(0x18, 0xE2),
            write(0x12, 0x44),
            write(0x07, 0x00),
            write(0x08, 0x00),
            write(0x09, 0x58),
            write(0x10, 0x84),
            write(0x11, 0x5C),
            write(0x0A, 0x00),
            write(0x0A, 0x00),
            write(0x0A, 0x06),
            read(0x18, &[0xE2]),
            read(0x12, &[0x44]),
            read(0x07, &[0x00]),
            read(0x08, &[0x00]),
            read(0x09, &[0x58]),
            read(0x10, &[0x84]),
            read(0x11, &[0x5C]),
            read(0x0A, &[0x06]),
        ]);
        assert_eq!(block_on(chip.set_up(SETUP)), Ok(()));
        assert_eq!(block_on(chip.start_fifo(SETUP)), Ok(()));
        chip.release().done();
    }

    #[test]
    fn ranges_have_their_codes_and_sensitivities() {
        let code = |g| {
            let range = AccelRange::from_g(g).expect("a range of the chip");
            let registers = Setup { accel_range: range, ..SETUP }.registers();
            let ctrl1 = registers.iter().find(|(r, _)| *r == 0x10).expect("CTRL1_XL is set").1;
            // Full scale must be the range: 32768 counts of the sensitivity, which the maker rounds.
            assert!((range.mg_per_count() * 32.768 / f64::from(g) - 1.0).abs() < 0.001);
            ctrl1 >> 2 & 3
        };
        assert_eq!([4, 8, 16].map(code), [2, 3, 1]);
        assert_eq!(AccelRange::from_g(2), None);
    }

    #[test]
    fn another_chip_is_named() {
        let mut chip = chip(&[read(0x0F, &[0x6A])]);
        assert_eq!(block_on(chip.identify()), Err(Error::WrongChip { found: 0x6A }));
        chip.release().done();
    }

    #[test]
    fn a_reset_that_does_not_end_is_given_up() {
        let mut script = vec![write(0x01, 0x00), read(0x0F, &[0x6C]), write(0x12, 0x05)];
        script.extend((0..20).map(|_| read(0x12, &[0x05])));
        let mut chip = chip(&script);
        assert_eq!(block_on(chip.set_up(SETUP)), Err(Error::ResetStuck));
        chip.release().done();
    }

    /// After a power loss the registers hold their reset values: `CTRL3_C` is the first that differs.
    #[test]
    fn a_chip_that_lost_power_is_noticed() {
        let mut chip = chip(&[read(0x18, &[0xE2]), read(0x12, &[0x04])]);
        let lost = Error::NotTaken { register: 0x12, found: 0x04, expected: 0x44 };
        assert_eq!(block_on(chip.check(SETUP)), Err(lost));
        chip.release().done();
    }

    #[test]
    fn the_level_has_ten_bits_and_both_overrun_flags_count() {
        let level = |status| FifoLevel::decode(status);
        assert_eq!(level([0x18, 0x00]), FifoLevel { words: 24, overrun: false });
        assert_eq!(level([0x00, 0xE2]), FifoLevel { words: 512, overrun: true }, "watermark, overrun, full");
        assert_eq!(level([0xFF, 0x09]), FifoLevel { words: 511, overrun: true }, "overrun since the last look");
        assert_eq!(level([0xFF, 0xB1]), FifoLevel { words: 511, overrun: false }, "watermark, full, counter");
    }

    #[test]
    fn words_come_in_one_burst_with_their_sensor() {
        let bytes = [
            [0x11, 1, 0, 2, 0, 3, 0],
            [0x0A, 0xFF, 0xFF, 0x00, 0x80, 0xFF, 0x7F],
            [0x15, 4, 0, 5, 0, 6, 0],
            [0x00, 0, 0, 0, 0, 0, 0],
        ];
        let mut chip = chip(&[read(0x78, bytes.as_flattened())]);
        let mut buffer = [0; 4 * WORD_BYTES + 3];
        let words: Vec<_> = block_on(chip.read_fifo(&mut buffer)).expect("answers").collect();
        assert_eq!(words[0], Word { source: Source::Accel, slot: 0, data: [1, 0, 2, 0, 3, 0] });
        assert_eq!(words[1], Word { source: Source::Gyro, slot: 1, data: [0xFF, 0xFF, 0x00, 0x80, 0xFF, 0x7F] });
        assert_eq!((words[2].source, words[2].slot), (Source::Accel, 2));
        assert_eq!(words[3].source, Source::Other(0));
        assert_eq!(words.len(), 4, "a buffer that is no whole number of words is not filled up");
        chip.release().done();
    }

    #[test]
    fn the_die_temperature_is_25_degrees_at_zero() {
        let mut chip = chip(&[read(0x20, &[0x00, 0x00]), read(0x20, &[0x80, 0xFE])]);
        assert_eq!(block_on(chip.die_temperature()), Ok(Celsius(25.0)));
        assert_eq!(block_on(chip.die_temperature()), Ok(Celsius(23.5)));
        chip.release().done();
    }

    #[test]
    fn silence_names_the_register() {
        let nack = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);
        let mut chip = chip(&[read(0x3A, &[0, 0]).with_error(nack)]);
        assert_eq!(block_on(chip.fifo_level()), Err(Error::Bus { register: 0x3A, bus: nack }));
        chip.release().done();
    }

    proptest! {
        #[test]
        fn no_bytes_make_decoding_panic(word: [u8; 7], status: [u8; 2]) {
            let word = Word::decode(word);
            prop_assert!(word.slot < 4);
            prop_assert!(FifoLevel::decode(status).words < 1024);
        }
    }
}
