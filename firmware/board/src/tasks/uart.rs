//! Second transport: UART at 921 600 baud, 8N1.
//!
//! There is no sign of a host on the other end but its bytes: frames go out here once it has spoken here last.

use crate::idle::metered;
use crate::shared::Shared;
use embassy_rp::uart::{BufferedUartRx, BufferedUartTx, Config};
use embedded_io_async::{Read, Write};
use steadypass_firmware_core::station::Link;
use steadypass_protocol::{FrameReader, MAX_FRAME};

/// Baud rate; 125 MHz divides to it within 0.01 %.
const BAUD: u32 = 921_600;

/// Line settings.
pub fn config() -> Config {
    let mut config = Config::default();
    config.baudrate = BAUD;
    config
}

/// Reads what the host says.
#[embassy_executor::task]
pub async fn receive(rx: BufferedUartRx, shared: &'static Shared) -> ! {
    metered(read(rx, shared)).await
}

async fn read(mut rx: BufferedUartRx, shared: &Shared) -> ! {
    let (mut reader, mut bytes) = (FrameReader::new(), [0; 64]);
    loop {
        // A line error (noise, a break, an overrun) costs the bytes it hit; the frame they were in fails its checksum.
        if let Ok(count) = rx.read(&mut bytes).await {
            shared.received(Link::Uart, &mut reader, &bytes[..count]);
        }
    }
}

/// Sends what waits.
#[embassy_executor::task]
pub async fn send(tx: BufferedUartTx, shared: &'static Shared) -> ! {
    metered(write(tx, shared)).await
}

async fn write(mut tx: BufferedUartTx, shared: &Shared) -> ! {
    let mut buffer = [0; MAX_FRAME];
    loop {
        match shared.next_frame(Link::Uart, &mut buffer) {
            // Writing cannot fail: it waits for room in the buffer, which the line empties by itself.
            Some(frame) => drop(tx.write_all(frame).await),
            None => shared.wait(Link::Uart).await,
        }
    }
}
