//! The link against the virtual sensor on a pseudo-terminal, opened like any serial port.

use std::{path::Path, time::Duration};

use steadypass_protocol::{Block, ResetCause, Settings, ToHost, ToSensor, decode_frame};
use tempfile::TempDir;
use tokio::{
    sync::{mpsc, watch},
    task::JoinHandle,
    time::{sleep, timeout},
};

use super::{Link, LinkError, LinkEvent, LinkReport, accel_range_g};
use crate::simulation::{Behaviour, Scenario, SensorOptions, Trouble, VirtualPort, VirtualSensor};

fn virtual_port(folder: &TempDir, id: u8) -> VirtualPort {
    let options = SensorOptions { unique_id: [id; 8], ..SensorOptions::default() };
    let sensor = VirtualSensor::new(&Scenario::demo(), options).expect("a valid scenario");
    VirtualPort::open(sensor, folder.path().join("port"), 1.0).expect("a pseudo-terminal")
}

fn name(port: &VirtualPort) -> &str {
    port.path().to_str().expect("utf-8")
}

struct Running {
    events: mpsc::Receiver<LinkEvent>,
    commands: mpsc::Sender<ToSensor>,
    stop: watch::Sender<bool>,
    task: JoinHandle<Result<LinkReport, LinkError>>,
}

impl Running {
    async fn start(port: &str) -> Self {
        let link = Link::open(Some(port)).await.expect("opens");
        let (sender, events) = mpsc::channel(10_000);
        let (commands, command_receiver) = mpsc::channel(8);
        let (stop, stopped) = watch::channel(false);
        Self { events, commands, stop, task: tokio::spawn(link.run(sender, command_receiver, stopped)) }
    }

    /// The first event that `wanted` takes, within five seconds; all events up to it are dropped.
    async fn wait<T>(&mut self, mut wanted: impl FnMut(&LinkEvent) -> Option<T>) -> T {
        timeout(Duration::from_secs(5), async {
            loop {
                let event = self.events.recv().await.expect("the link goes on");
                if let Some(found) = wanted(&event) {
                    return found;
                }
            }
        })
        .await
        .expect("in time")
    }

    async fn next_block(&mut self) -> (u32, u64) {
        self.wait(|event| {
            let LinkEvent::Frame { raw, .. } = event else { return None };
            let mut scratch = [0; 512];
            let frame = decode_frame(raw, &mut scratch).expect("only good frames are handed on");
            match ToHost::decode(frame.payload) {
                Ok(ToHost::Accel(Block { first_index, first_us, .. })) => Some((first_index, first_us)),
                _ => None,
            }
        })
        .await
    }

    /// Waits for a loss whose reason holds `words`; no other loss may come before it.
    async fn lost(&mut self, words: &str) {
        let told =
            self.wait(|e| if let LinkEvent::Lost { reason, .. } = e { Some(reason.clone()) } else { None }).await;
        assert!(told.contains(words), "{told}");
    }

    async fn end(self) -> LinkReport {
        self.stop.send(true).expect("running");
        timeout(Duration::from_secs(3), self.task).await.expect("stops").expect("no panic").expect("no error")
    }
}

#[tokio::test]
async fn it_streams_in_order_and_stops_the_sensor_when_told() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    let mut link = Running::start(name(&port)).await;
    let (mut index, _) = link.next_block().await;
    for _ in 0..20 {
        let (next, _) = link.next_block().await;
        assert_eq!(next, index + 72, "no block is missing");
        index = next;
    }
    link.commands.send(ToSensor::Indicate(steadypass_protocol::Pattern::SlowDown)).await.expect("running");
    sleep(Duration::from_millis(700)).await;
    assert_eq!(port.with(|s| s.pattern()), steadypass_protocol::Pattern::SlowDown);
    let report = link.end().await;
    assert!(report.bad_frames == 0 && report.losses == 0 && report.frames > 20, "{report:?}");
    assert!(report.round_trip_us.is_some_and(|us| us < 500_000), "{report:?}");
    sleep(Duration::from_millis(100)).await;
    assert!(!port.with(|s| s.is_streaming()), "the sensor was told to stop");
}

#[tokio::test]
async fn unplugged_and_plugged_in_again_it_resumes() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    let mut link = Running::start(name(&port)).await;
    link.next_block().await;
    port.unplug();
    link.wait(|e| matches!(e, LinkEvent::Lost { .. }).then_some(())).await;
    sleep(Duration::from_millis(500)).await;
    port.replug(true).expect("plugs in");
    let gap_s = link.wait(|e| if let LinkEvent::Resumed { gap_s, .. } = e { Some(*gap_s) } else { None }).await;
    assert!((0.4..3.0).contains(&gap_s), "{gap_s}");
    link.next_block().await;
    assert_eq!(link.end().await.losses, 1);
}

/// The port stays, but nothing comes: the link must not be kept out by its own lock when it opens the port again.
#[tokio::test]
async fn silent_and_back_without_unplugging_it_resumes() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    let mut link = Running::start(name(&port)).await;
    link.next_block().await;
    port.with(|s| s.behave(Behaviour::Mute));
    link.lost("it fell silent").await;
    port.with(|s| s.behave(Behaviour::Normal));
    link.wait(|e| matches!(e, LinkEvent::Resumed { .. }).then_some(())).await;
    link.next_block().await;
    assert_eq!(link.end().await.losses, 1);
}

/// The sensor answers, only its samples stop: the port is kept, and one loss is told, not one a second.
#[tokio::test]
async fn without_samples_it_waits_for_them_on_the_same_port() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    let mut link = Running::start(name(&port)).await;
    link.next_block().await;
    port.with(|s| s.suffer(Trouble::ImuRestart { samples: 6000 }));
    link.lost("it sends no samples").await;
    let gap_s = link.wait(|e| if let LinkEvent::Resumed { gap_s, .. } = e { Some(*gap_s) } else { None }).await;
    assert!((3.0..5.0).contains(&gap_s), "{gap_s}");
    link.next_block().await;
    assert_eq!(link.end().await.losses, 1);
}

/// A sensor that restarts while its motion chip is off refuses to start: that is noted, and it is asked again until it can.
#[tokio::test]
async fn a_refusal_after_a_restart_does_not_end_the_recording() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    let mut link = Running::start(name(&port)).await;
    // A restart shows by its clock going back more than a second; it must have run longer than that and a ping.
    sleep(Duration::from_millis(3000)).await;
    link.next_block().await;
    port.with(|s| {
        s.suffer(Trouble::ImuLead(false));
        s.suffer(Trouble::Restart(ResetCause::Watchdog));
    });
    link.lost("it restarted").await;
    link.wait(|e| matches!(e, LinkEvent::Resumed { .. }).then_some(())).await;
    link.lost("its motion chip does not answer").await;
    sleep(Duration::from_secs(3)).await;
    assert!(!link.task.is_finished(), "it goes on");
    port.with(|s| s.suffer(Trouble::ImuLead(true)));
    let gap_s = link.wait(|e| if let LinkEvent::Resumed { gap_s, .. } = e { Some(*gap_s) } else { None }).await;
    assert!((3.0..8.0).contains(&gap_s), "{gap_s}");
    link.next_block().await;
    assert_eq!(link.end().await.losses, 2, "the restart, and the refusal");
}

/// Before the first sample the user is at hand: the refusal is an error that says why, though not for one bad moment.
#[tokio::test]
async fn a_sensor_that_cannot_start_at_all_is_an_error() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    port.with(|s| s.suffer(Trouble::ImuLead(false)));
    let link = Running::start(name(&port)).await;
    let ended = timeout(Duration::from_secs(3), link.task).await.expect("in time").expect("no panic");
    let Err(LinkError::Refused { reason, .. }) = ended else { panic!("{ended:?}") };
    assert!(reason.contains("motion chip"), "{reason}");

    let mut link = Running::start(name(&port)).await;
    port.with(|s| s.suffer(Trouble::ImuLead(true)));
    link.next_block().await;
    assert_eq!(link.end().await.losses, 0);
}

#[tokio::test]
async fn another_sensor_is_refused() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    let mut link = Running::start(name(&port)).await;
    link.next_block().await;
    drop(port.finish());
    let other = virtual_port(&folder, 2);
    let sensor =
        link.wait(|e| if let LinkEvent::Stranger { sensor, .. } = e { Some(sensor.clone()) } else { None }).await;
    assert_eq!(sensor, "0202020202020202");
    drop(other.finish());
    let _same = virtual_port(&folder, 1);
    link.wait(|e| matches!(e, LinkEvent::Resumed { .. }).then_some(())).await;
    link.end().await;
}

#[tokio::test]
async fn a_restart_is_told_and_costs_less_than_two_seconds() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    let mut link = Running::start(name(&port)).await;
    sleep(Duration::from_millis(2500)).await;
    port.with(|s| s.suffer(Trouble::Restart(ResetCause::Watchdog)));
    let began = std::time::Instant::now();
    link.lost("it restarted").await;
    // Blocks from before the restart may still be on their way; the new ones count from zero.
    while link.next_block().await.0 > 72 * 10 {}
    assert!(began.elapsed() < Duration::from_secs(2), "{:?}", began.elapsed());
    assert_eq!(link.end().await.losses, 1, "what is missing must be told at the end, too");
}

#[tokio::test]
async fn damaged_frames_are_counted_and_cost_only_themselves() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    let mut link = Running::start(name(&port)).await;
    link.next_block().await;
    for _ in 0..3 {
        port.with(|s| s.suffer(Trouble::BitError));
        sleep(Duration::from_millis(200)).await;
    }
    let count = link.wait(|e| if let LinkEvent::BadFrames { count, .. } = e { Some(*count) } else { None }).await;
    assert!((1..=3).contains(&count), "{count}");
    link.next_block().await;
    assert_eq!(link.end().await.bad_frames, 3);
}

async fn refused(port: &str) -> LinkError {
    timeout(Duration::from_millis(3500), Link::open(Some(port))).await.expect("named within 3 s").expect_err("no link")
}

#[tokio::test]
async fn what_is_no_sensor_is_named_within_three_seconds() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    port.with(|s| s.behave(Behaviour::Mute));
    assert_eq!(refused(name(&port)).await, LinkError::Silent { port: name(&port).into() });
    port.with(|s| s.behave(Behaviour::Garbage));
    assert!(matches!(refused(name(&port)).await, LinkError::NotOurs { bytes, .. } if bytes > 1000));
    port.with(|s| s.behave(Behaviour::Version(9)));
    let wrong = refused(name(&port)).await;
    assert!(matches!(wrong, LinkError::Version { sensor: 9, host: 1, .. }), "{wrong:?}");
    assert!(wrong.to_string().contains("update the program"));
}

#[tokio::test]
async fn a_port_in_use_a_file_and_nothing_at_all_are_told_apart() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    let _first = Link::open(Some(name(&port))).await.expect("opens");
    assert!(matches!(refused(name(&port)).await, LinkError::Busy { .. }));
    let file = folder.path().join("file");
    std::fs::write(&file, "x").expect("write");
    let text = |p: &Path| p.to_str().expect("utf-8").to_owned();
    assert!(matches!(refused(&text(&file)).await, LinkError::NotAPort { what: "a file", .. }));
    assert!(matches!(refused(&text(&folder.path().join("none"))).await, LinkError::Missing { .. }));
    assert!(matches!(refused("/dev/null").await, LinkError::NotAPort { .. }));
}

#[tokio::test]
async fn what_is_set_is_what_the_sensor_then_says_until_it_restarts() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    let mut link = Link::open(Some(name(&port))).await.expect("opens");
    let said = |link: &Link| (accel_range_g(link.hello()), link.hello().surface_period_ms, link.hello().reset);
    assert_eq!(said(&link), (16, 64, ResetCause::PowerOn));
    let settings = Settings { accel_range_g: 8, surface_period_ms: 100, light_percent: 20, buzzer: false };
    link.configure(settings).await.expect("accepted");
    assert_eq!(said(&link), (8, 100, ResetCause::PowerOn));
    let link = link.restart().await.expect("comes back");
    assert_eq!(said(&link), (16, 64, ResetCause::Commanded));
    assert!(link.hello().uptime_us < 5_000_000, "{:?}", link.hello());
}

#[tokio::test]
async fn a_refused_setting_is_named_and_nothing_is_changed() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    let mut link = Link::open(Some(name(&port))).await.expect("opens");
    let refused = link.configure(Settings { accel_range_g: 2, ..Settings::default() }).await;
    let Err(LinkError::Refused { what: "the settings", reason, .. }) = refused else { panic!("{refused:?}") };
    assert!(reason.contains("4, 8 or 16 g"), "{reason}");
    link.configure(Settings { light_percent: 10, ..Settings::default() }).await.expect("accepted");
    assert_eq!(accel_range_g(link.hello()), 16);
}

#[tokio::test]
async fn a_stream_left_behind_is_stopped_before_anything_is_set() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    let mut left = Running::start(name(&port)).await;
    left.next_block().await;
    left.task.abort();
    assert!(left.task.await.expect_err("aborted").is_cancelled());
    let mut link = Link::open(Some(name(&port))).await.expect("opens");
    assert!(link.hello().streaming);
    link.configure(Settings { accel_range_g: 4, ..Settings::default() }).await.expect("accepted");
    assert!(!link.hello().streaming && accel_range_g(link.hello()) == 4);
}

#[tokio::test]
async fn a_sensor_that_does_not_answer_or_come_back_is_an_error() {
    let folder = TempDir::new().expect("temp");
    let port = virtual_port(&folder, 1);
    let mut link = Link::open(Some(name(&port))).await.expect("opens");
    port.with(|s| s.behave(Behaviour::Mute));
    let ended = link.configure(Settings::default()).await;
    assert!(matches!(ended, Err(LinkError::NoAnswer { .. })), "{ended:?}");

    port.with(|s| s.behave(Behaviour::Normal));
    let restart = tokio::spawn(link.restart());
    timeout(Duration::from_secs(5), async {
        while port.with(|s| s.uptime_us()) > 1_000_000 {
            sleep(Duration::from_millis(10)).await;
        }
    })
    .await
    .expect("it starts anew");
    port.unplug();
    let ended = restart.await.expect("no panic");
    let Err(error @ LinkError::NotBack { .. }) = ended else { panic!("{ended:?}") };
    assert!(error.to_string().contains("has not come back in 10 s"), "{error}");
}
