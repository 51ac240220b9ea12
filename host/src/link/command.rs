//! Commands to a sensor that is not streaming, each with its answer: what it shall be set to, and to start anew.

use std::time::{Duration, Instant};

use steadypass_protocol::{Hello, Outcome, RestartInto, Settings, ToHost, ToSensor};
use tokio::{
    io::AsyncReadExt,
    time::{sleep, timeout},
};

use super::{
    LinkError,
    error::refusal_text,
    introduction::{introduce, send},
    session::Link,
};

/// A sensor that has not answered by then will not.
const ANSWER: Duration = Duration::from_secs(3);
/// How often it is asked: commands may be given twice, an answer may be lost.
const ASK_EVERY: Duration = Duration::from_millis(500);
/// A sensor answers, starts anew a tenth of a second later, and is found by the system a second or two after that.
const BACK: Duration = Duration::from_secs(10);
/// How often it is looked for.
const LOOK_EVERY: Duration = Duration::from_millis(250);

impl Link {
    /// Sets the sensor and asks it again who it is: its range and rates are what it says then. A stream that a program left behind
    /// is stopped first. Settings last until the sensor starts anew.
    ///
    /// # Errors
    /// [`LinkError::Refused`], [`LinkError::NoAnswer`], or what is wrong with the port.
    pub async fn configure(&mut self, settings: Settings) -> Result<(), LinkError> {
        if self.talk.hello.streaming {
            self.ask(&ToSensor::Stop, "to stop").await?;
        }
        self.ask(&ToSensor::Configure(settings), "the settings").await?;
        (self.talk.hello, self.talk.hello_frame) =
            introduce(&self.talk.port, &mut self.stream, &mut self.talk.reader).await?;
        Ok(())
    }

    /// Starts the sensor anew and waits until it is back, perhaps under another name.
    ///
    /// # Errors
    /// [`LinkError::NotBack`] where it has not introduced itself again within ten seconds, besides those of
    /// [`Link::configure`].
    pub async fn restart(mut self) -> Result<Self, LinkError> {
        self.ask(&ToSensor::Restart(RestartInto::Firmware), "to restart").await?;
        let asked = Instant::now();
        let Self { stream, mut talk } = self;
        // Let go: a USB device that comes back while the old port is held gets a new name.
        drop(stream);
        while asked.elapsed() < BACK {
            sleep(LOOK_EVERY).await;
            let Some(stream) = talk.look_once().await.0 else { continue };
            // Heard before it has gone, it tells of its old life.
            if Duration::from_micros(talk.hello.uptime_us) < asked.elapsed() {
                return Ok(Self { stream, talk });
            }
        }
        Err(LinkError::NotBack { port: talk.port })
    }

    /// Starts the sensor anew in its loader, in which it takes a new firmware and is no sensor until that is there.
    ///
    /// # Errors
    /// Those of [`Link::configure`].
    pub async fn restart_into_loader(mut self) -> Result<(), LinkError> {
        self.ask(&ToSensor::Restart(RestartInto::Loader), "to start its loader").await
    }

    /// Gives a command until it is answered; `what` says what was asked for, should it be refused.
    async fn ask(&mut self, command: &ToSensor, what: &'static str) -> Result<(), LinkError> {
        let port = &self.talk.port;
        let gone = |message: String| LinkError::Os { port: port.clone(), message };
        let mut bytes = vec![0; 4096];
        let deadline = Instant::now() + ANSWER;
        while Instant::now() < deadline {
            send(&mut self.stream, command).await.map_err(|e| gone(e.to_string()))?;
            let ask_again = Instant::now() + ASK_EVERY;
            while let Some(left) = ask_again.checked_duration_since(Instant::now()) {
                let n = match timeout(left, self.stream.read(&mut bytes)).await {
                    Err(_) => break,
                    Ok(Ok(0)) => return Err(gone("it was unplugged".into())),
                    Ok(Ok(n)) => n,
                    Ok(Err(e)) => return Err(gone(e.to_string())),
                };
                let mut outcome = None;
                self.talk.reader.feed(&bytes[..n], |event| {
                    if let Ok(frame) = event
                        && let Ok(ToHost::Reply(reply)) = ToHost::decode(frame.payload)
                        && reply.command == command.kind()
                    {
                        outcome = Some(reply.outcome);
                    }
                });
                match outcome {
                    Some(Outcome::Accepted) => return Ok(()),
                    Some(Outcome::Refused(refusal)) => {
                        return Err(LinkError::Refused { port: port.clone(), what, reason: refusal_text(refusal) });
                    }
                    None => {}
                }
            }
        }
        Err(LinkError::NoAnswer { port: port.clone() })
    }
}

/// Range of the accelerometer that a sensor says it has, g: the whole number that its counts reach to.
pub fn accel_range_g(hello: &Hello) -> u8 {
    /// Standard gravity, m/s².
    const GRAVITY_MPS2: f64 = 9.80665;
    let reach_mps2 = f64::from(hello.accel.nano_per_count) * 1e-9 * 32_768.0;
    (reach_mps2 / GRAVITY_MPS2).round().clamp(0.0, 255.0) as u8
}
