//! Normal transport: USB serial (CDC ACM).
//!
//! Frames are only sent while a program has the port open (DTR). What waits when it closes, and what comes after, is for
//! nobody else: it is thrown away, counted, as soon as a program opens the port again or a host speaks over the other
//! link. When the port opens, the sensor says who it is.

use crate::idle::metered;
use crate::shared::Shared;
use embassy_futures::select::select;
use embassy_rp::peripherals::USB;
use embassy_rp::usb::Driver;
use embassy_usb::class::cdc_acm::{CdcAcmClass, ControlChanged, Receiver, Sender, State};
use embassy_usb::{Builder, UsbDevice};
use static_cell::StaticCell;
use steadypass_firmware_core::station::Link;
use steadypass_protocol::{FrameReader, MAX_FRAME};

/// Ids for development and private use: product 0001 of vendor 1209 is set aside by the pid.codes registry for testing
/// (from memory). Whoever distributes boards needs ids of their own.
const VENDOR_ID: u16 = 0x1209;
const PRODUCT_ID: u16 = 0x0001;

/// Bytes of a full-speed bulk packet (USB 2.0, section 5.8.3).
const PACKET: u16 = 64;

type Usb = Driver<'static, USB>;

/// The parts of the serial port, one per task.
pub struct Port {
    /// Runs the bus.
    pub device: UsbDevice<'static, Usb>,
    /// To the host.
    pub sender: Sender<'static, Usb>,
    /// From the host.
    pub receiver: Receiver<'static, Usb>,
    /// Whether a program has the port open.
    pub control: ControlChanged<'static>,
}

/// Builds the port. `serial` is shown to the host's system as the serial number.
pub fn port(driver: Usb, serial: &'static str) -> Port {
    static DEVICE: StaticCell<[u8; 256]> = StaticCell::new();
    static BOS: StaticCell<[u8; 64]> = StaticCell::new();
    static CONTROL: StaticCell<[u8; 64]> = StaticCell::new();
    static STATE: StaticCell<State> = StaticCell::new();

    let mut config = embassy_usb::Config::new(VENDOR_ID, PRODUCT_ID);
    config.manufacturer = Some("Steadypass");
    config.product = Some("Steadypass sensor");
    config.serial_number = Some(serial);
    config.max_power = 100;
    let (device, bos, control) = (DEVICE.init([0; 256]), BOS.init([0; 64]), CONTROL.init([0; 64]));
    let mut builder = Builder::new(driver, config, device, bos, &mut [], control);
    let class = CdcAcmClass::new(&mut builder, STATE.init(State::new()), PACKET);
    let (sender, receiver, control) = class.split_with_control();
    Port { device: builder.build(), sender, receiver, control }
}

/// Runs the bus.
#[embassy_executor::task]
pub async fn run(mut device: UsbDevice<'static, Usb>) -> ! {
    metered(device.run()).await
}

/// Reads what the host says.
#[embassy_executor::task]
pub async fn receive(receiver: Receiver<'static, Usb>, shared: &'static Shared) -> ! {
    metered(read(receiver, shared)).await
}

async fn read(mut receiver: Receiver<'static, Usb>, shared: &Shared) -> ! {
    let (mut reader, mut packet) = (FrameReader::new(), [0; PACKET as usize]);
    loop {
        receiver.wait_connection().await;
        reader.reset();
        while let Ok(count) = receiver.read_packet(&mut packet).await {
            shared.received(Link::Usb, &mut reader, &packet[..count]);
        }
    }
}

/// Sends what waits.
#[embassy_executor::task]
pub async fn send(sender: Sender<'static, Usb>, control: ControlChanged<'static>, shared: &'static Shared) -> ! {
    metered(write(sender, control, shared)).await
}

async fn write(mut sender: Sender<'static, Usb>, control: ControlChanged<'static>, shared: &Shared) -> ! {
    let mut buffer = [0; MAX_FRAME];
    loop {
        sender.wait_connection().await;
        if !sender.dtr() {
            control.control_changed().await;
            continue;
        }
        shared.opened(Link::Usb);
        // A full packet promises more; without more, an empty one must end the transfer or the host waits.
        let mut ended = true;
        while sender.dtr() {
            match shared.next_frame(Link::Usb, &mut buffer) {
                Some(frame) => {
                    if !send_all(&mut sender, &control, frame).await {
                        break;
                    }
                    ended = !frame.len().is_multiple_of(PACKET.into());
                }
                None if !ended => ended = send_packet(&mut sender, &control, &[]).await,
                None => {
                    select(shared.wait(Link::Usb), control.control_changed()).await;
                }
            }
        }
    }
}

async fn send_all(sender: &mut Sender<'static, Usb>, control: &ControlChanged<'static>, frame: &[u8]) -> bool {
    for packet in frame.chunks(PACKET.into()) {
        if !send_packet(sender, control, packet).await {
            return false;
        }
    }
    true
}

/// Waits until the host has taken the packet before and hands over this one; `false` when the port was closed meanwhile.
async fn send_packet(sender: &mut Sender<'static, Usb>, control: &ControlChanged<'static>, packet: &[u8]) -> bool {
    use embassy_futures::select::Either::{First, Second};
    loop {
        match select(sender.write_packet(packet), control.control_changed()).await {
            First(result) => return result.is_ok(),
            // Something else about the port changed: the packet has not been handed over yet.
            Second(()) if sender.dtr() => {}
            Second(()) => return false,
        }
    }
}
