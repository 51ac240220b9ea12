//! One sensor, from the first hello to the last goodbye, through unplugging and restarts.

use std::{
    collections::BTreeSet,
    time::{Duration, Instant},
};

use steadypass_protocol::{
    DecodeError, FrameReader, Health, Hello, MAX_FRAME, Outcome, Ping, Refusal, ToHost, ToSensor, encode,
};
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    sync::{mpsc, watch},
    time::{MissedTickBehavior, interval, sleep, timeout},
};
use tokio_serial::{ClearBuffer, SerialPort, SerialPortBuilderExt, SerialStream};

use super::{LinkError, command::setting_text, find_port, heard::Heard, now_ns, ports, round_trips::RoundTrips};

/// Speed of the UART transport; USB ignores it.
pub const BAUD: u32 = 921_600;

/// A device that has not introduced itself by then is named as what it seems to be.
const INTRODUCTION: Duration = Duration::from_secs(3);
/// How often the introduction is asked for.
const ASK_EVERY: Duration = Duration::from_millis(250);
/// The sensor stops after three seconds without a word from the host; this leaves room for a few lost ones.
const PING_EVERY: Duration = Duration::from_millis(500);
/// A streaming sensor sends a block every 43 ms and answers pings; this long without either means that it is gone, this long
/// without blocks only that its motion chip is.
const SILENCE: Duration = Duration::from_secs(1);
/// A sensor that refuses its very first start this often will not do: the user is at hand and is told. Later ones wait.
const FIRST_REFUSALS: u32 = 3;
/// Longest pause before a sensor without samples is asked to start again.
const LONGEST_PAUSE: Duration = Duration::from_secs(4);
/// How often an unplugged sensor is looked for.
const LOOK_EVERY: Duration = Duration::from_millis(200);
/// Nothing is gained by noting bad frames more often.
const NOTE_BAD_EVERY: Duration = Duration::from_secs(1);

/// What happened on the cable, in order. `log_ns` is ns since 1970 (UTC) on a clock that never steps back.
#[derive(Clone, Debug, PartialEq)]
pub enum LinkEvent {
    /// The sensor has introduced itself (again).
    Connected {
        /// Host time, ns.
        log_ns: u64,
        /// Port name.
        port: String,
        /// Who it is.
        hello: Hello,
    },
    /// A good frame, without its zeros.
    Frame {
        /// Host time, ns.
        log_ns: u64,
        /// The bytes.
        raw: Vec<u8>,
    },
    /// Frames that could not be used since the last such event.
    BadFrames {
        /// Host time, ns.
        log_ns: u64,
        /// How many.
        count: u64,
    },
    /// The port went away or fell silent.
    Lost {
        /// Host time, ns.
        log_ns: u64,
        /// Why, in words.
        reason: String,
    },
    /// The same sensor is back.
    Resumed {
        /// Host time, ns.
        log_ns: u64,
        /// How long it was gone, s.
        gap_s: f64,
    },
    /// Another sensor was plugged in and refused.
    Stranger {
        /// Host time, ns.
        log_ns: u64,
        /// Its id, hexadecimal.
        sensor: String,
    },
}

/// How it went, when it is over.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LinkReport {
    /// Good frames.
    pub frames: u64,
    /// Frames that could not be used.
    pub bad_frames: u64,
    /// Times the sensor was lost.
    pub losses: u64,
    /// Shortest round trip in the last minute, µs.
    pub round_trip_us: Option<u64>,
    /// What the sensor said last of its own health.
    pub health: Option<Health>,
}

/// An open port with a sensor that has introduced itself.
#[derive(Debug)]
pub struct Link {
    pub(super) stream: SerialStream,
    pub(super) talk: Talk,
}

/// What outlives one opening of the port.
#[derive(Debug)]
pub(super) struct Talk {
    named: Option<String>,
    pub(super) port: String,
    pub(super) reader: Box<FrameReader>,
    pub(super) hello: Hello,
    pub(super) hello_frame: Vec<u8>,
    /// Samples have come at least once.
    has_streamed: bool,
    /// Bad frames not yet noted, and when some were.
    bad: u64,
    noted: Instant,
}

/// The sensor's id as text.
fn id_text(hello: &Hello) -> String {
    hex::encode(hello.unique_id)
}

impl Link {
    /// Opens `named`, or the only port that says it is a sensor, and waits for the introduction.
    ///
    /// # Errors
    /// [`LinkError`] says what is there instead, within three seconds.
    pub async fn open(named: Option<&str>) -> Result<Self, LinkError> {
        let port = match named {
            Some(port) => port.to_owned(),
            None => find_port()?,
        };
        let mut stream = open_port(&port)?;
        let mut reader = Box::new(FrameReader::new());
        let (hello, hello_frame) = introduce(&port, &mut stream, &mut reader).await?;
        let talk = Talk {
            named: named.map(str::to_owned),
            port,
            reader,
            hello,
            hello_frame,
            has_streamed: false,
            bad: 0,
            noted: Instant::now(),
        };
        Ok(Self { stream, talk })
    }

    /// Who the sensor is.
    pub fn hello(&self) -> &Hello {
        &self.talk.hello
    }

    /// The sensor's id, hexadecimal.
    pub fn sensor_id(&self) -> String {
        id_text(&self.talk.hello)
    }

    /// Port name.
    pub fn port(&self) -> &str {
        &self.talk.port
    }

    /// Streams until `stop` turns true, then stops the sensor. Events are sent in order; a receiver that is gone ends it too.
    ///
    /// # Errors
    /// Only when the sensor refuses to start at all: once samples have come, a refusal is an event like every other loss, and
    /// the sensor is asked again until it starts or the recording ends.
    pub async fn run(
        self,
        events: mpsc::Sender<LinkEvent>,
        mut commands: mpsc::Receiver<ToSensor>,
        mut stop: watch::Receiver<bool>,
    ) -> Result<LinkReport, LinkError> {
        let Self { mut stream, mut talk } = self;
        let mut report = LinkReport::default();
        let mut trips = RoundTrips::default();
        loop {
            if talk.announce(&events).await.is_err() {
                return Ok(report);
            }
            let ended =
                talk.stream_once(&mut stream, &events, &mut commands, &mut stop, &mut report, &mut trips).await?;
            report.round_trip_us = trips.shortest_us();
            if talk.note_bad(&events).await.is_err() {
                return Ok(report);
            }
            let (reason, lost_at, restarted) = match ended {
                Ended::Stopped => return Ok(report),
                Ended::Restarted { silent_since } => ("it restarted".to_owned(), silent_since, true),
                Ended::Lost(reason) => (reason, Instant::now(), false),
            };
            report.losses += 1;
            if events.send(LinkEvent::Lost { log_ns: now_ns(), reason }).await.is_err() {
                return Ok(report);
            }
            // After a restart the port may still be there.
            if !(restarted && talk.reintroduce(&mut stream).await) {
                // Let go first: our own lock would keep us out of a port that is still there, and a USB device that comes back
                // while the old port is held gets a new name.
                drop(stream);
                stream = match talk.reconnect(&events, &mut stop).await {
                    Some(stream) => stream,
                    None => return Ok(report),
                };
            }
            let gap_s = lost_at.elapsed().as_secs_f64();
            if events.send(LinkEvent::Resumed { log_ns: now_ns(), gap_s }).await.is_err() {
                return Ok(report);
            }
        }
    }
}

impl Talk {
    /// The introduction goes out before any data, so that counts can be read.
    async fn announce(&self, events: &mpsc::Sender<LinkEvent>) -> Result<(), mpsc::error::SendError<LinkEvent>> {
        let log_ns = now_ns();
        events.send(LinkEvent::Connected { log_ns, port: self.port.clone(), hello: self.hello }).await?;
        events.send(LinkEvent::Frame { log_ns, raw: self.hello_frame.clone() }).await
    }

    async fn note_bad(&mut self, events: &mpsc::Sender<LinkEvent>) -> Result<(), mpsc::error::SendError<LinkEvent>> {
        self.noted = Instant::now();
        match std::mem::take(&mut self.bad) {
            0 => Ok(()),
            count => events.send(LinkEvent::BadFrames { log_ns: now_ns(), count }).await,
        }
    }

    async fn stream_once(
        &mut self,
        stream: &mut SerialStream,
        events: &mpsc::Sender<LinkEvent>,
        commands: &mut mpsc::Receiver<ToSensor>,
        stop: &mut watch::Receiver<bool>,
        report: &mut LinkReport,
        trips: &mut RoundTrips,
    ) -> Result<Ended, LinkError> {
        if let Err(e) = send(stream, &ToSensor::Start).await {
            return Ok(Ended::Lost(e.to_string()));
        }
        let mut ping = interval(PING_EVERY);
        ping.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut bytes = vec![0; 4096];
        let mut heard = Heard::since(Instant::now());
        let mut waiting: Option<Waiting> = None;
        let mut token = 0u32;
        loop {
            tokio::select! {
                biased;
                changed = stop.changed() => {
                    if changed.is_err() || *stop.borrow() {
                        // The sensor stops by itself when this does not reach it.
                        let _ = send(stream, &ToSensor::Stop).await;
                        return Ok(Ended::Stopped);
                    }
                }
                got = stream.read(&mut bytes) => match got {
                    Ok(0) => return Ok(Ended::Lost("it was unplugged".into())),
                    Err(e) => return Ok(Ended::Lost(e.to_string())),
                    Ok(n) => {
                        let log_ns = now_ns();
                        let silent_since = heard.last_block;
                        let frames = self.take(&bytes[..n], log_ns, &mut heard, report, trips);
                        for raw in frames.raw {
                            if events.send(LinkEvent::Frame { log_ns, raw }).await.is_err() {
                                return Ok(Ended::Stopped);
                            }
                        }
                        if frames.restarted {
                            return Ok(Ended::Restarted { silent_since });
                        }
                        if frames.blocks && let Some(gap) = waiting.take() && gap.is_told {
                            let resumed = LinkEvent::Resumed { log_ns, gap_s: gap.since.elapsed().as_secs_f64() };
                            if events.send(resumed).await.is_err() {
                                return Ok(Ended::Stopped);
                            }
                        }
                        if let Some(reason) = frames.refused {
                            let waiting = waiting.get_or_insert_default();
                            waiting.refusals += 1;
                            if !self.has_streamed && waiting.refusals == FIRST_REFUSALS {
                                return Err(LinkError::Refused { port: self.port.clone(), what: "to start", reason });
                            }
                            let reason = format!("it cannot start: {reason}");
                            if self.has_streamed && !self.tell(waiting, reason, events, report).await {
                                return Ok(Ended::Stopped);
                            }
                        }
                    }
                },
                Some(command) = commands.recv() => {
                    if let Err(e) = send(stream, &command).await {
                        return Ok(Ended::Lost(e.to_string()));
                    }
                }
                _ = ping.tick() => {
                    let log_ns = now_ns();
                    if self.noted.elapsed() >= NOTE_BAD_EVERY && self.note_bad(events).await.is_err() {
                        return Ok(Ended::Stopped);
                    }
                    if heard.last_frame.elapsed() > SILENCE {
                        return Ok(Ended::Lost("it fell silent".into()));
                    }
                    if waiting.is_none() && heard.last_block.elapsed() > SILENCE {
                        let waiting = waiting.insert(Waiting { since: heard.last_block, ..Waiting::default() });
                        if !self.tell(waiting, "it sends no samples".into(), events, report).await {
                            return Ok(Ended::Stopped);
                        }
                    }
                    if let Some(waiting) = &mut waiting && waiting.is_due()
                        && let Err(e) = send(stream, &ToSensor::Start).await
                    {
                        return Ok(Ended::Lost(e.to_string()));
                    }
                    token = token.wrapping_add(1);
                    if let Err(e) = send(stream, &ToSensor::Ping(Ping { token, host_us: log_ns / 1000 })).await {
                        return Ok(Ended::Lost(e.to_string()));
                    }
                }
            }
        }
    }

    fn take(
        &mut self,
        bytes: &[u8],
        log_ns: u64,
        heard: &mut Heard,
        report: &mut LinkReport,
        trips: &mut RoundTrips,
    ) -> Taken {
        let mut taken = Taken::default();
        let (has_streamed, bad) = (&mut self.has_streamed, &mut self.bad);
        self.reader.feed(bytes, |event| {
            let Ok(frame) = event else {
                (*bad, report.bad_frames) = (*bad + 1, report.bad_frames + 1);
                return;
            };
            report.frames += 1;
            heard.last_frame = Instant::now();
            taken.raw.push(frame.raw.to_vec());
            match ToHost::decode(frame.payload) {
                Ok(ToHost::Accel(block)) => {
                    (taken.blocks, *has_streamed) = (true, true);
                    taken.restarted |= heard.block(&block);
                }
                Ok(ToHost::Pong(pong)) => {
                    taken.restarted |= heard.clock_went_back(pong.sensor_us);
                    trips.pong(pong.host_us, log_ns / 1000);
                }
                Ok(ToHost::Health(health)) => report.health = Some(health),
                Ok(ToHost::Hello(hello)) => taken.restarted |= heard.clock_went_back(hello.uptime_us),
                Ok(ToHost::Reply(reply)) if reply.command == ToSensor::Start.kind() => {
                    if let Outcome::Refused(refusal) = reply.outcome {
                        taken.refused = Some(refusal_text(refusal));
                    }
                }
                _ => {}
            }
        });
        taken
    }

    /// Says once that no samples come, though the sensor is there. `false` when nobody listens any more.
    async fn tell(
        &self,
        waiting: &mut Waiting,
        reason: String,
        events: &mpsc::Sender<LinkEvent>,
        report: &mut LinkReport,
    ) -> bool {
        if std::mem::replace(&mut waiting.is_told, true) {
            return true;
        }
        report.losses += 1;
        events.send(LinkEvent::Lost { log_ns: now_ns(), reason }).await.is_ok()
    }

    /// Asks again who is there, on the same port. `false` when it is not the same sensor, or nobody.
    async fn reintroduce(&mut self, stream: &mut SerialStream) -> bool {
        match introduce(&self.port, stream, &mut self.reader).await {
            Ok((hello, frame)) if hello.unique_id == self.hello.unique_id => {
                (self.hello, self.hello_frame) = (hello, frame);
                true
            }
            _ => false,
        }
    }

    /// Waits for the same sensor to come back. `None` when told to stop meanwhile.
    async fn reconnect(
        &mut self,
        events: &mpsc::Sender<LinkEvent>,
        stop: &mut watch::Receiver<bool>,
    ) -> Option<SerialStream> {
        let mut strangers = BTreeSet::new();
        loop {
            tokio::select! {
                changed = stop.changed() => {
                    if changed.is_err() || *stop.borrow() {
                        return None;
                    }
                }
                () = sleep(LOOK_EVERY) => {}
            }
            let (stream, heard) = self.look_once().await;
            if stream.is_some() {
                return stream;
            }
            for sensor in heard {
                if strangers.insert(sensor.clone())
                    && events.send(LinkEvent::Stranger { log_ns: now_ns(), sensor }).await.is_err()
                {
                    return None;
                }
            }
        }
    }

    /// Looks for the sensor once; besides, the ids of others that are there instead. It may come back under another name while a
    /// second one is plugged in: all that could be it are asked.
    pub(super) async fn look_once(&mut self) -> (Option<SerialStream>, Vec<String>) {
        let mut strangers = Vec::new();
        for port in self.named.clone().map_or_else(ports::likely, |named| vec![named]) {
            let Ok(mut stream) = open_port(&port) else { continue };
            self.reader.reset();
            let Ok((hello, frame)) = introduce(&port, &mut stream, &mut self.reader).await else { continue };
            if hello.unique_id == self.hello.unique_id {
                (self.port, self.hello, self.hello_frame) = (port, hello, frame);
                return (Some(stream), strangers);
            }
            strangers.push(id_text(&hello));
        }
        (None, strangers)
    }
}

/// Why streaming ended.
enum Ended {
    Stopped,
    /// Its clock started anew; no samples have come since.
    Restarted {
        silent_since: Instant,
    },
    Lost(String),
}

/// What the last bytes held.
#[derive(Default)]
struct Taken {
    raw: Vec<Vec<u8>>,
    restarted: bool,
    /// Samples came.
    blocks: bool,
    /// Why it will not start.
    refused: Option<String>,
}

/// The sensor is there, but no samples come: it is asked to start again and again, ever less often.
struct Waiting {
    since: Instant,
    is_told: bool,
    refusals: u32,
    ask_at: Instant,
    pause: Duration,
}

impl Default for Waiting {
    fn default() -> Self {
        let now = Instant::now();
        Self { since: now, is_told: false, refusals: 0, ask_at: now, pause: PING_EVERY }
    }
}

impl Waiting {
    /// Whether to ask now; moves the next time on.
    fn is_due(&mut self) -> bool {
        let now = Instant::now();
        let due = now >= self.ask_at;
        if due {
            self.ask_at = now + self.pause;
            self.pause = (self.pause * 2).min(LONGEST_PAUSE);
        }
        due
    }
}

pub(super) fn refusal_text(refusal: Refusal) -> String {
    match refusal {
        Refusal::NoImu => "its motion chip does not answer; check the wiring (hardware/) and plug it in again".into(),
        Refusal::UnknownCommand => "its firmware does not know the command; update it".into(),
        Refusal::OutOfRange(setting) => format!("its firmware does not take that value of {}", setting_text(setting)),
        Refusal::Streaming => "it is streaming already".into(),
    }
}

fn open_port(port: &str) -> Result<SerialStream, LinkError> {
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
