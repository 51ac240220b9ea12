//! A port opened, and its sensor asked who it is.

use std::time::{Duration, Instant};

use steadypass_protocol::{DecodeError, FrameReader, Hello, MAX_FRAME, ToHost, ToSensor, encode};
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    time::timeout,
};
use tokio_serial::{ClearBuffer, SerialPort, SerialPortBuilderExt, SerialStream};

use super::{LinkError, ports};

/// Speed of the UART transport; USB ignores it.
pub const BAUD: u32 = 921_600;

/// A device that has not introduced itself by then is named as what it seems to be.
const INTRODUCTION: Duration = Duration::from_secs(3);
/// How often the introduction is asked for.
const ASK_EVERY: Duration = Duration::from_millis(250);

/// The sensor's id as text.
pub(super) fn id_text(hello: &Hello) -> String {
    hex::encode(hello.unique_id)
}

/// Opens a port as the sensor needs it.
pub(super) fn open_port(port: &str) -> Result<SerialStream, LinkError> {
    ports::check(port)?;
    let mut stream = tokio_serial::new(port, BAUD).open_native_async().map_err(|e| ports::explain(port, &e))?;
    // Bytes from before the opening are stale. Pseudo-terminals refuse some of these calls, which does no harm.
    let _ = stream.clear(ClearBuffer::All);
    // The sensor sends only to a port that is held open, and not every system says so by itself.
    let _ = stream.write_data_terminal_ready(true);
    Ok(stream)
}

/// Asks who is there until an answer comes; returns it with its frame.
pub(super) async fn introduce(
    port: &str,
    stream: &mut SerialStream,
    reader: &mut FrameReader,
) -> Result<(Hello, Vec<u8>), LinkError> {
    let name = || port.to_owned();
    let mut bytes = vec![0; 4096];
    let (mut total, mut good, mut found, mut version) = (0usize, 0usize, None, None);
    let deadline = Instant::now() + INTRODUCTION;
    while Instant::now() < deadline {
        if let Err(e) = send(stream, &ToSensor::Identify).await {
            return Err(LinkError::Os { port: name(), message: e.to_string() });
        }
        let ask_again = Instant::now() + ASK_EVERY;
        while let Some(left) = ask_again.checked_duration_since(Instant::now()) {
            let n = match timeout(left, stream.read(&mut bytes)).await {
                Err(_) => break,
                Ok(Ok(0)) => return Err(LinkError::Os { port: name(), message: "it was unplugged".into() }),
                Ok(Err(e)) => return Err(LinkError::Os { port: name(), message: e.to_string() }),
                Ok(Ok(n)) => n,
            };
            total += n;
            reader.feed(&bytes[..n], |event| {
                let Ok(frame) = event else { return };
                good += 1;
                match ToHost::decode(frame.payload) {
                    Ok(ToHost::Hello(hello)) => found = Some((hello, frame.raw.to_vec())),
                    Err(DecodeError::Version { sensor, host }) => version = Some((sensor, host)),
                    _ => {}
                }
            });
            if let Some(found) = found {
                return Ok(found);
            }
            if let Some((sensor, host)) = version {
                return Err(LinkError::Version { port: name(), sensor, host });
            }
        }
    }
    Err(match (total, good) {
        (0, _) => LinkError::Silent { port: name() },
        (bytes, 0) => LinkError::NotOurs { port: name(), bytes },
        _ => LinkError::Os {
            port: name(),
            message: "the sensor sends data but does not introduce itself; unplug it and plug it in again".into(),
        },
    })
}

/// A full send buffer means that nobody reads at the other end; waiting for ever would hang the program.
pub(super) async fn send(stream: &mut SerialStream, command: &ToSensor) -> std::io::Result<()> {
    let mut buffer = [0; MAX_FRAME];
    let frame = encode(command, &mut buffer).expect("every command fits a frame");
    timeout(Duration::from_secs(1), stream.write_all(frame))
        .await
        .unwrap_or_else(|_| Err(std::io::Error::new(std::io::ErrorKind::TimedOut, "it does not take commands")))
}
