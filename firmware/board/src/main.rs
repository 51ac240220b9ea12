//! Firmware image of the Steadypass sensor for boards with an RP2040.
//!
//! This file wires pins to tasks. The tasks own timing and peripherals; what they see goes into one
//! [`Station`](steadypass_firmware_core::station::Station), which decides and is tested on a PC.
#![no_std]
#![no_main]

mod bus;
mod claim;
mod idle;
mod pins;
mod shared;
mod tasks;

use bus::Bus;
use embassy_executor::Spawner;
use embassy_rp::flash::{Blocking, Flash};
use embassy_rp::gpio::{Input, Level, Output, Pull};
use embassy_rp::peripherals::{I2C0, I2C1, UART0, USB};
use embassy_rp::pwm::Pwm;
use embassy_rp::uart::BufferedUart;
use embassy_rp::watchdog::Watchdog;
use embassy_rp::{bind_interrupts, i2c, pac, uart, usb};
use panic_halt as _;
use shared::Shared;
use static_cell::StaticCell;
use steadypass_drivers::lsm6dsox::{AccelRange, GYRO_MDPS_PER_COUNT};
use steadypass_firmware_core::design;
use steadypass_firmware_core::station::{Identity, Station};
use steadypass_protocol::Mounting;
use tasks::indicator::Indicator;

bind_interrupts!(struct Irqs {
    I2C0_IRQ => i2c::InterruptHandler<I2C0>;
    I2C1_IRQ => i2c::InterruptHandler<I2C1>;
    UART0_IRQ => uart::BufferedInterruptHandler<UART0>;
    USBCTRL_IRQ => usb::InterruptHandler<USB>;
});

/// Bus speeds: the motion chip takes fast mode, the thermometer no more than standard mode.
const IMU_BUS_HZ: u32 = 400_000;
const IR_BUS_HZ: u32 = 100_000;

/// Flash of the smallest common board, bytes. Only the chip's id is read.
const FLASH_BYTES: usize = 2 * 1024 * 1024;

/// How the chip sits on the clip: straight.
const MOUNTING: Mounting = Mounting::STRAIGHT;

#[embassy_executor::main]
async fn main(spawner: Spawner) {
    let p = embassy_rp::init(Default::default());
    let mut watchdog = Watchdog::new(p.WATCHDOG);
    let (reset, watchdog_resets) = tasks::house::reset_history(&mut watchdog);

    let mut unique_id = [0; 8];
    let mut flash: Flash<'_, _, Blocking, FLASH_BYTES> = Flash::new_blocking(p.FLASH);
    if flash.blocking_unique_id(&mut unique_id).is_err() {
        // A flash chip without an id: all zero is as good a name as any, and the host shows it.
        unique_id = [0; 8];
    }

    let gyro = design::gyro_scale(GYRO_MDPS_PER_COUNT);
    let identity = Identity { unique_id, reset, watchdog_resets, mounting: MOUNTING, gyro };
    static SHARED: StaticCell<Shared> = StaticCell::new();
    let shared = &*SHARED.init_with(|| {
        Shared::new(Station::new(identity, |g| AccelRange::from_g(g).unwrap_or(AccelRange::G16).mg_per_count()))
    });

    let imu_bus = Bus::new(p.I2C0, claim!(p.PIN_5 as IMU_SCL), claim!(p.PIN_4 as IMU_SDA), IMU_BUS_HZ);
    let ir_bus = Bus::new(p.I2C1, claim!(p.PIN_7 as IR_SCL), claim!(p.PIN_6 as IR_SDA), IR_BUS_HZ);

    static UART_TX_BUFFER: StaticCell<[u8; 256]> = StaticCell::new();
    static UART_RX_BUFFER: StaticCell<[u8; 256]> = StaticCell::new();
    let (uart_tx, uart_rx) = BufferedUart::new(
        p.UART0,
        claim!(p.PIN_0 as UART_TX),
        claim!(p.PIN_1 as UART_RX),
        Irqs,
        UART_TX_BUFFER.init([0; 256]),
        UART_RX_BUFFER.init([0; 256]),
        tasks::uart::config(),
    )
    .split();
    // Nothing may be connected there: an input left open would read noise.
    pac::PADS_BANK0.gpio(pins::UART_RX.into()).modify(|pad| pad.set_pue(true));

    let off = embassy_rp::pwm::Config::default();
    let light = Indicator {
        red_green: Pwm::new_output_ab(
            p.PWM_SLICE0,
            claim!(p.PIN_16 as LED_RED),
            claim!(p.PIN_17 as LED_GREEN),
            off.clone(),
        ),
        blue: Pwm::new_output_a(p.PWM_SLICE1, claim!(p.PIN_18 as LED_BLUE), off.clone()),
        buzzer: Pwm::new_output_a(p.PWM_SLICE7, claim!(p.PIN_14 as BUZZER), off),
        plain: Output::new(claim!(p.PIN_25 as LED_ONBOARD), Level::Low),
    };
    let mark = Input::new(claim!(p.PIN_15 as MARK_BUTTON), Pull::Up);

    let port = tasks::usb::port(usb::Driver::new(p.USB, Irqs), serial_number(unique_id));

    // Note(unwrap): each task is spawned once, at start, into its own static room.
    spawner.spawn(tasks::house::house(watchdog, shared).unwrap());
    spawner.spawn(tasks::motion::motion(imu_bus, shared).unwrap());
    spawner.spawn(tasks::surface::surface(ir_bus, shared).unwrap());
    spawner.spawn(tasks::usb::run(port.device).unwrap());
    spawner.spawn(tasks::usb::receive(port.receiver, shared).unwrap());
    spawner.spawn(tasks::usb::send(port.sender, port.control, shared).unwrap());
    spawner.spawn(tasks::uart::receive(uart_rx, shared).unwrap());
    spawner.spawn(tasks::uart::send(uart_tx, shared).unwrap());
    spawner.spawn(tasks::indicator::indicator(light, shared).unwrap());
    spawner.spawn(tasks::button::button(mark, shared).unwrap());
}

/// The unique id in hexadecimal, for USB.
fn serial_number(id: [u8; 8]) -> &'static str {
    static TEXT: StaticCell<[u8; 16]> = StaticCell::new();
    let text = TEXT.init([0; 16]);
    for (pair, byte) in text.chunks_exact_mut(2).zip(id) {
        let digit = |nibble: u8| char::from_digit(nibble.into(), 16).map_or(b'0', |c| c as u8);
        pair.copy_from_slice(&[digit(byte >> 4), digit(byte & 0xF)]);
    }
    core::str::from_utf8(text).unwrap_or("0000000000000000")
}
