//! One sensor, from the first hello to the last goodbye, through unplugging and restarts.

use std::{
    collections::BTreeSet,
    time::{Duration, Instant},
};

use steadypass_protocol::{FrameReader, Hello, Outcome, Ping, ToHost, ToSensor};
use tokio::{
    io::AsyncReadExt,
    sync::{mpsc, watch},
    time::{MissedTickBehavior, interval, sleep},
};
use tokio_serial::SerialStream;

use super::{
    LinkError, LinkEvent, LinkReport,
    error::refusal_text,
    find_port,
    heard::Heard,
    introduction::{id_text, introduce, open_port, send},
    now_ns, ports,
    round_trips::RoundTrips,
    waiting::{PING_EVERY, Waiting},
};

/// A streaming sensor sends a block every 43 ms and answers pings; this long without either means that it is gone, this long
/// without blocks only that its motion chip is.
const SILENCE: Duration = Duration::from_secs(1);
/// A sensor that refuses its very first start this often will not do: the user is at hand and is told. Later ones wait.
const FIRST_REFUSALS: u32 = 3;
/// How often an unplugged sensor is looked for.
const LOOK_EVERY: Duration = Duration::from_millis(200);
/// Nothing is gained by noting bad frames more often.
const NOTE_BAD_EVERY: Duration = Duration::from_secs(1);

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
        let mut stretch = Stretch { heard: Heard::since(Instant::now()), waiting: None, token: 0 };
        loop {
            let ended = tokio::select! {
                biased;
                changed = stop.changed() => {
                    if changed.is_err() || *stop.borrow() {
                        // The sensor stops by itself when this does not reach it.
                        let _ = send(stream, &ToSensor::Stop).await;
                        return Ok(Ended::Stopped);
                    }
                    None
                }
                got = stream.read(&mut bytes) => match got {
                    Ok(0) => Some(Ended::Lost("it was unplugged".into())),
                    Err(e) => Some(Ended::Lost(e.to_string())),
                    Ok(n) => self.came(&bytes[..n], &mut stretch, events, report, trips).await?,
                },
                Some(command) = commands.recv() => {
                    send(stream, &command).await.err().map(|e| Ended::Lost(e.to_string()))
                }
                _ = ping.tick() => self.beat(stream, &mut stretch, events, report).await,
            };
            if let Some(ended) = ended {
                return Ok(ended);
            }
        }
    }

    /// Hands on what came, and tells when samples come again or the sensor will not start.
    async fn came(
        &mut self,
        bytes: &[u8],
        stretch: &mut Stretch,
        events: &mpsc::Sender<LinkEvent>,
        report: &mut LinkReport,
        trips: &mut RoundTrips,
    ) -> Result<Option<Ended>, LinkError> {
        let log_ns = now_ns();
        let silent_since = stretch.heard.last_block;
        let frames = self.take(bytes, log_ns, &mut stretch.heard, report, trips);
        for raw in frames.raw {
            if events.send(LinkEvent::Frame { log_ns, raw }).await.is_err() {
                return Ok(Some(Ended::Stopped));
            }
        }
        if frames.restarted {
            return Ok(Some(Ended::Restarted { silent_since }));
        }
        if frames.blocks
            && let Some(gap) = stretch.waiting.take()
            && gap.is_told
        {
            let resumed = LinkEvent::Resumed { log_ns, gap_s: gap.since.elapsed().as_secs_f64() };
            if events.send(resumed).await.is_err() {
                return Ok(Some(Ended::Stopped));
            }
        }
        let Some(reason) = frames.refused else { return Ok(None) };
        let waiting = stretch.waiting.get_or_insert_default();
        waiting.refusals += 1;
        if !self.has_streamed && waiting.refusals == FIRST_REFUSALS {
            return Err(LinkError::Refused { port: self.port.clone(), what: "to start", reason });
        }
        let reason = format!("it cannot start: {reason}");
        let unheard = self.has_streamed && !self.tell(waiting, reason, events, report).await;
        Ok(unheard.then_some(Ended::Stopped))
    }

    /// Twice a second: tells of silence, asks a sensor without samples to start again, and is heard by it.
    async fn beat(
        &mut self,
        stream: &mut SerialStream,
        stretch: &mut Stretch,
        events: &mpsc::Sender<LinkEvent>,
        report: &mut LinkReport,
    ) -> Option<Ended> {
        let Stretch { heard, waiting, token } = stretch;
        let host_us = now_ns() / 1000;
        if self.noted.elapsed() >= NOTE_BAD_EVERY && self.note_bad(events).await.is_err() {
            return Some(Ended::Stopped);
        }
        if heard.last_frame.elapsed() > SILENCE {
            return Some(Ended::Lost("it fell silent".into()));
        }
        if waiting.is_none() && heard.last_block.elapsed() > SILENCE {
            let waiting = waiting.insert(Waiting::since(heard.last_block));
            if !self.tell(waiting, "it sends no samples".into(), events, report).await {
                return Some(Ended::Stopped);
            }
        }
        if let Some(waiting) = waiting
            && waiting.is_due()
            && let Err(e) = send(stream, &ToSensor::Start).await
        {
            return Some(Ended::Lost(e.to_string()));
        }
        *token = token.wrapping_add(1);
        let ping = ToSensor::Ping(Ping { token: *token, host_us });
        send(stream, &ping).await.err().map(|e| Ended::Lost(e.to_string()))
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

/// One stretch of streaming: from a start to whatever ends it.
struct Stretch {
    heard: Heard,
    /// Samples are waited for.
    waiting: Option<Waiting>,
    /// Of the last ping.
    token: u32,
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
