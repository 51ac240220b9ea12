//! The host: is it there, what has it asked for, what may it ask for.
//!
//! Any good frame is a sign of life. Streaming starts only on request and stops by itself when the host has been silent
//! for [`HOST_SILENCE_US`]; the light then shows that the host is lost, until it is heard again.

use steadypass_protocol::{
    DecodeError, HOST_SILENCE_US, Outcome, Pattern, Pong, Refusal, Reply, RestartInto, Settings, ToSensor,
};

/// What the host is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Who the sensor is.
    Hello,
    /// Answer to a ping.
    Pong(Pong),
    /// Answer to anything else.
    Reply(Reply),
}

/// What has to happen outside of this module.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effect {
    /// Streaming has begun: blocks start with the next sample.
    Started,
    /// Streaming has ended.
    Stopped,
    /// The accelerometer range has changed: the chip must be set up anew.
    RangeChanged,
    /// The sensor must restart, once the reply is out.
    Restart(RestartInto),
}

/// What became of one payload from the host.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Handled {
    /// To be sent, if anything.
    pub answer: Option<Answer>,
    /// To be done, if anything.
    pub effect: Option<Effect>,
    /// The payload could not be used.
    pub bad: bool,
}

/// State of the conversation.
#[derive(Clone, Debug)]
pub struct Session {
    streaming: bool,
    settings: Settings,
    /// Silence after which the host counts as gone, µs.
    silence_us: u64,
    /// When the last good frame came, µs; `None` once silence has been noticed.
    heard_us: Option<u64>,
    pattern: Pattern,
    pattern_since_us: u64,
}

impl Default for Session {
    fn default() -> Self {
        Self::new()
    }
}

impl Session {
    /// Nobody has spoken yet.
    pub fn new() -> Self {
        let settings = Settings::default();
        let silence_us = HOST_SILENCE_US;
        Self { streaming: false, settings, silence_us, heard_us: None, pattern: Pattern::Off, pattern_since_us: 0 }
    }

    /// Waits this long for a silent host instead of [`HOST_SILENCE_US`]: for a simulation whose clock runs faster than the
    /// host's.
    pub fn set_silence_us(&mut self, silence_us: u64) {
        self.silence_us = silence_us;
    }

    /// Whether samples go to the host.
    pub fn is_streaming(&self) -> bool {
        self.streaming
    }

    /// Whether the host was heard lately.
    pub fn has_host(&self) -> bool {
        self.heard_us.is_some()
    }

    /// Settings in force.
    pub fn settings(&self) -> Settings {
        self.settings
    }

    /// Pattern to show and how long it has been shown, ms.
    pub fn pattern(&self, now_us: u64) -> (Pattern, u64) {
        (self.pattern, now_us.saturating_sub(self.pattern_since_us) / 1000)
    }

    /// A payload with a good checksum came from the host. `imu_usable` is false when the motion chip was asked and did not
    /// answer; a host that starts the stream while the chip is still being set up is not turned away.
    pub fn handle(&mut self, payload: &[u8], now_us: u64, imu_usable: bool) -> Handled {
        self.heard(now_us);
        let command = match ToSensor::decode(payload) {
            Ok(command) => command,
            Err(DecodeError::UnknownKind(kind)) => {
                let refused = Outcome::Refused(Refusal::UnknownCommand);
                // A kind beyond 255 cannot be named in the reply; it is only counted.
                let answer = u8::try_from(kind).ok().map(|command| Answer::Reply(Reply { command, outcome: refused }));
                return Handled { answer, effect: None, bad: true };
            }
            Err(_) => return Handled { bad: true, ..Handled::default() },
        };
        let (outcome, effect) = match command {
            ToSensor::Identify => return Handled { answer: Some(Answer::Hello), ..Handled::default() },
            ToSensor::Ping(ping) => {
                let pong = Pong { token: ping.token, host_us: ping.host_us, sensor_us: now_us };
                return Handled { answer: Some(Answer::Pong(pong)), ..Handled::default() };
            }
            // A stream that is running goes on through a fault of the chip; only a new one needs it.
            ToSensor::Start if !imu_usable && !self.streaming => (Outcome::Refused(Refusal::NoImu), None),
            ToSensor::Start => (Outcome::Accepted, self.start(now_us)),
            ToSensor::Stop => (Outcome::Accepted, self.stop(now_us)),
            ToSensor::Configure(settings) => self.configure(settings),
            ToSensor::Indicate(pattern) => {
                self.show(pattern, now_us);
                (Outcome::Accepted, None)
            }
            ToSensor::Restart(into) => (Outcome::Accepted, Some(Effect::Restart(into))),
        };
        let reply = Reply { command: command.kind(), outcome };
        Handled { answer: Some(Answer::Reply(reply)), effect, bad: false }
    }

    /// Time has passed. Says when streaming has ended because nobody listens.
    pub fn tick(&mut self, now_us: u64) -> Option<Effect> {
        let silent = self.heard_us.is_some_and(|heard| now_us.saturating_sub(heard) >= self.silence_us);
        if !silent {
            return None;
        }
        self.heard_us = None;
        if !self.streaming {
            // It had stopped the stream before it left: nothing is lost.
            self.show(Pattern::Off, now_us);
            return None;
        }
        self.streaming = false;
        self.show(Pattern::LostHost, now_us);
        Some(Effect::Stopped)
    }

    fn heard(&mut self, now_us: u64) {
        if self.pattern == Pattern::LostHost && self.heard_us.is_none() {
            self.show(Pattern::Off, now_us);
        }
        self.heard_us = Some(now_us);
    }

    fn start(&mut self, now_us: u64) -> Option<Effect> {
        if self.streaming {
            return None;
        }
        self.streaming = true;
        self.show(Pattern::Steady, now_us);
        Some(Effect::Started)
    }

    fn stop(&mut self, now_us: u64) -> Option<Effect> {
        if !self.streaming {
            return None;
        }
        self.streaming = false;
        self.show(Pattern::Off, now_us);
        Some(Effect::Stopped)
    }

    fn configure(&mut self, settings: Settings) -> (Outcome, Option<Effect>) {
        if self.streaming {
            return (Outcome::Refused(Refusal::Streaming), None);
        }
        if let Some(name) = settings.out_of_range() {
            return (Outcome::Refused(Refusal::OutOfRange(name)), None);
        }
        let changed = settings.accel_range_g != self.settings.accel_range_g;
        self.settings = settings;
        (Outcome::Accepted, changed.then_some(Effect::RangeChanged))
    }

    fn show(&mut self, pattern: Pattern, now_us: u64) {
        if pattern != self.pattern {
            (self.pattern, self.pattern_since_us) = (pattern, now_us);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use steadypass_protocol::{MAX_FRAME, Ping, SettingName, decode_frame, encode};

    fn payload(command: ToSensor) -> Vec<u8> {
        let mut buffer = [0; MAX_FRAME];
        let frame = encode(&command, &mut buffer).expect("fits");
        let mut scratch = [0; MAX_FRAME];
        decode_frame(&frame[1..frame.len() - 1], &mut scratch).expect("own frame").payload.to_vec()
    }

    fn say(session: &mut Session, now_us: u64, command: ToSensor) -> Handled {
        session.handle(&payload(command), now_us, true)
    }

    fn outcome(handled: Handled) -> Outcome {
        match handled.answer {
            Some(Answer::Reply(reply)) => reply.outcome,
            other => panic!("no reply: {other:?}"),
        }
    }

    #[test]
    fn streaming_starts_on_request_and_ends_in_silence() {
        let mut session = Session::new();
        assert!(!session.is_streaming());
        assert_eq!(say(&mut session, 1_000_000, ToSensor::Start).effect, Some(Effect::Started));
        assert_eq!(say(&mut session, 1_100_000, ToSensor::Start).effect, None, "asked twice, started once");
        assert_eq!(session.pattern(1_100_000), (Pattern::Steady, 100));
        assert_eq!(session.tick(4_099_999), None);
        assert_eq!(session.tick(4_100_000), Some(Effect::Stopped));
        assert_eq!((session.is_streaming(), session.has_host()), (false, false));
        assert_eq!(session.pattern(4_100_000).0, Pattern::LostHost);
        assert_eq!(session.tick(9_000_000), None, "said once");
        say(&mut session, 9_000_000, ToSensor::Identify);
        assert_eq!(session.pattern(9_000_000).0, Pattern::Off, "heard again");
    }

    #[test]
    fn a_simulation_may_wait_longer() {
        let mut session = Session::new();
        session.set_silence_us(5 * HOST_SILENCE_US);
        say(&mut session, 0, ToSensor::Start);
        assert_eq!(session.tick(14_999_999), None);
        assert_eq!(session.tick(15_000_000), Some(Effect::Stopped));
    }

    #[test]
    fn a_host_that_stopped_before_it_left_is_not_lost() {
        let mut session = Session::new();
        say(&mut session, 0, ToSensor::Start);
        say(&mut session, 10, ToSensor::Stop);
        assert_eq!(session.tick(4_000_000), None);
        assert_eq!(session.pattern(4_000_000).0, Pattern::Off);
    }

    #[test]
    fn a_host_may_show_lost_host_itself_without_confusing_the_sensor() {
        let mut session = Session::new();
        say(&mut session, 0, ToSensor::Indicate(Pattern::LostHost));
        say(&mut session, 10, ToSensor::Ping(Ping { token: 1, host_us: 1 }));
        assert_eq!(session.pattern(10).0, Pattern::LostHost);
    }

    #[test]
    fn pings_keep_the_stream_alive_and_carry_the_time() {
        let mut session = Session::new();
        say(&mut session, 0, ToSensor::Start);
        for k in 1..10 {
            let now_us = k * 2_900_000;
            assert_eq!(session.tick(now_us), None);
            let handled = say(&mut session, now_us, ToSensor::Ping(Ping { token: 7, host_us: 300 }));
            assert_eq!(handled.answer, Some(Answer::Pong(Pong { token: 7, host_us: 300, sensor_us: now_us })));
        }
    }

    #[test]
    fn refusals_say_why() {
        let mut session = Session::new();
        let no_imu = session.handle(&payload(ToSensor::Start), 0, false);
        assert_eq!(outcome(no_imu), Outcome::Refused(Refusal::NoImu));
        assert!(!session.is_streaming());
        say(&mut session, 0, ToSensor::Start);
        let again = session.handle(&payload(ToSensor::Start), 1, false);
        assert_eq!(outcome(again), Outcome::Accepted, "a running stream outlives a fault of the chip");
        say(&mut session, 2, ToSensor::Stop);

        let good = Settings { accel_range_g: 8, ..Settings::default() };
        let bad = [
            (Settings { surface_period_ms: 49, ..good }, SettingName::SurfacePeriod),
            (Settings { surface_period_ms: 1001, ..good }, SettingName::SurfacePeriod),
            (Settings { accel_range_g: 2, ..good }, SettingName::AccelRange),
            (Settings { light_percent: 101, ..good }, SettingName::Light),
        ];
        for (settings, name) in bad {
            let handled = say(&mut session, 0, ToSensor::Configure(settings));
            assert_eq!(outcome(handled), Outcome::Refused(Refusal::OutOfRange(name)));
            assert_eq!(session.settings(), Settings::default(), "refused as a whole");
        }
        let handled = say(&mut session, 0, ToSensor::Configure(good));
        assert_eq!((outcome(handled), handled.effect), (Outcome::Accepted, Some(Effect::RangeChanged)));
        assert_eq!(session.settings(), good);
        let dimmer = Settings { light_percent: 10, ..good };
        assert_eq!(say(&mut session, 0, ToSensor::Configure(dimmer)).effect, None, "the chip need not know");

        say(&mut session, 0, ToSensor::Start);
        assert_eq!(outcome(say(&mut session, 0, ToSensor::Configure(good))), Outcome::Refused(Refusal::Streaming));
    }

    #[test]
    fn commands_of_a_newer_host_are_refused_by_kind() {
        let mut session = Session::new();
        let handled = session.handle(&[9, 1, 2], 0, true);
        assert!(handled.bad);
        let reply = Reply { command: 9, outcome: Outcome::Refused(Refusal::UnknownCommand) };
        assert_eq!(handled.answer, Some(Answer::Reply(reply)));
        assert_eq!(session.handle(&[0xAC, 0x02], 0, true), Handled { bad: true, ..Handled::default() });
        assert_eq!(session.handle(&[3, 64], 0, true), Handled { bad: true, ..Handled::default() });
    }

    #[test]
    fn a_restart_is_accepted_first_and_done_outside() {
        let handled = say(&mut Session::new(), 0, ToSensor::Restart(RestartInto::Loader));
        assert_eq!(outcome(handled), Outcome::Accepted);
        assert_eq!(handled.effect, Some(Effect::Restart(RestartInto::Loader)));
    }

    proptest! {
        #[test]
        fn no_payload_makes_it_panic(payload in proptest::collection::vec(any::<u8>(), 0..300), now_us: u64, imu: bool) {
            let mut session = Session::new();
            session.handle(&payload, now_us, imu);
            session.tick(now_us.wrapping_add(5_000_000));
        }
    }
}
