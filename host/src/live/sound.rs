//! Two tones and a tick, played by whatever player the computer has.
//!
//! | cue | tone | why |
//! | --- | --- | --- |
//! | slow down | one short low tone | told from heat by shape and pitch, also over a machine's whine |
//! | heat | a rising pair | rising reads as "up" without being learnt |
//! | beat | a quiet tick | for practice; one for each unit of travel |
//!
//! Linux has no sound interface that a program could use without the system's libraries; a player takes a file. Where none is
//! installed the terminal's bell rings instead (once for the pace, twice for heat; no beat): many terminals are set to be
//! silent or to flash, so the bell is a makeshift.

use std::{
    f64::consts::TAU,
    io::{self, Write},
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    time::Duration,
};

use tempfile::TempDir;
use tokio::time::sleep;

use super::{
    board::{Board, Link},
    view::Cue,
};

/// Samples a second; every player takes it.
const RATE_HZ: u32 = 44_100;
/// Rise and fall of a tone, s; without them it would click.
const FADE_S: f64 = 0.012;
/// The beat is this much quieter than the tones.
const BEAT_SHARE: f64 = 0.2;

/// A stretch of a tone: Hz (0 for silence) and seconds.
type Note = (f64, f64);

/// One low note.
const SLOW_DOWN: &[Note] = &[(247.0, 0.28)];
/// Two notes, the second half as high again.
const HEAT: &[Note] = &[(660.0, 0.16), (0.0, 0.04), (990.0, 0.24)];
/// A tick.
const BEAT: &[Note] = &[(1200.0, 0.03)];

/// Players of sound files, the likeliest first, with what makes them quiet about it.
const PLAYERS: [(&str, &[&str]); 3] = [("paplay", &[]), ("pw-play", &[]), ("aplay", &["-q"])];

/// Samples of a melody at a volume from 0 to 1.
fn samples(notes: &[Note], volume: f64) -> Vec<f64> {
    let mut all = Vec::new();
    for (hz, seconds) in notes {
        let count = (seconds * f64::from(RATE_HZ)) as usize;
        all.extend((0..count).map(|i| {
            let t = i as f64 / f64::from(RATE_HZ);
            let edge = (t.min(seconds - t) / FADE_S).clamp(0.0, 1.0);
            // A bit of the octave, for loudspeakers too small for a low note.
            volume * edge * (0.75 * (TAU * hz * t).sin() + 0.25 * (TAU * 2.0 * hz * t).sin())
        }));
    }
    all
}

fn write_wav(path: &Path, notes: &[Note], volume: f64) -> Result<(), hound::Error> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE_HZ,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec)?;
    for sample in samples(notes, volume) {
        writer.write_sample((sample * f64::from(i16::MAX)) as i16)?;
    }
    writer.finalize()
}

/// What plays.
#[derive(Debug)]
enum Means {
    Player { program: PathBuf, quiet: &'static [&'static str], files: TempDir, playing: Option<Child> },
    Bell,
}

/// Sound on this computer.
#[derive(Debug)]
pub struct Sound {
    means: Means,
}

impl Sound {
    /// Sound at a volume from 0 to 1, by the first player found, else by the terminal's bell.
    pub fn new(volume: f64) -> Self {
        let volume = volume.clamp(0.0, 1.0);
        let means = find_player().and_then(|(program, quiet)| {
            let files = TempDir::new().ok()?;
            let write = |name: &str, notes, volume| write_wav(&files.path().join(name), notes, volume);
            write("slow-down.wav", SLOW_DOWN, volume).ok()?;
            write("heat.wav", HEAT, volume).ok()?;
            write("beat.wav", BEAT, volume * BEAT_SHARE).ok()?;
            Some(Means::Player { program, quiet, files, playing: None })
        });
        Self { means: means.unwrap_or(Means::Bell) }
    }

    /// What it plays with, in words.
    pub fn describe(&self) -> String {
        match &self.means {
            Means::Player { program, .. } => format!("sound by {}", program.display()),
            Means::Bell => "no sound player found (paplay, pw-play, aplay): the terminal's bell rings instead".into(),
        }
    }

    /// Sounds a cue, over whatever sounds now.
    pub fn cue(&mut self, cue: Cue) {
        match cue {
            Cue::SlowDown => self.play("slow-down.wav", "\x07"),
            Cue::Heat => self.play("heat.wav", "\x07\x07"),
        }
    }

    /// Ticks once; the bell would be too loud for it.
    pub fn beat(&mut self) {
        self.play("beat.wav", "");
    }

    fn play(&mut self, file: &str, bell: &str) {
        match &mut self.means {
            Means::Player { program, quiet, files, playing } => {
                // The one before has ended or is of no more use; either way it must be waited for, or it stays as a zombie.
                if let Some(mut before) = playing.take() {
                    let _ = before.kill();
                    let _ = before.wait();
                }
                *playing = Command::new(program)
                    .args(*quiet)
                    .arg(files.path().join(file))
                    .stdin(Stdio::null())
                    .stdout(Stdio::null())
                    .stderr(Stdio::null())
                    .spawn()
                    .ok();
            }
            Means::Bell => {
                let _ = io::stderr().lock().write_all(bell.as_bytes());
            }
        }
    }
}

impl Drop for Sound {
    fn drop(&mut self) {
        if let Means::Player { playing: Some(child), .. } = &mut self.means {
            let _ = child.wait();
        }
    }
}

fn find_player() -> Option<(PathBuf, &'static [&'static str])> {
    let folders = std::env::var_os("PATH")?;
    PLAYERS.into_iter().find_map(|(name, quiet)| {
        let program = std::env::split_paths(&folders).map(|folder| folder.join(name)).find(|path| path.is_file())?;
        Some((program, quiet))
    })
}

/// Sounds the board's cues until it comes down; with `beat` also the pace to keep while the machine runs.
pub async fn run(board: Board, mut sound: Sound, on: Arc<AtomicBool>, beat: bool) {
    let (mut views, mut closing) = (board.watch(), board.closing());
    let mut sounded = views.borrow().view.cues;
    loop {
        let beat_s = views.borrow().view.beat_s;
        tokio::select! {
            _ = closing.wait_for(|closed| *closed) => return,
            changed = views.changed() => {
                if changed.is_err() {
                    return;
                }
                let view = Arc::clone(&views.borrow_and_update().view);
                if view.cues != sounded {
                    sounded = view.cues;
                    if let Some(cue) = view.cue.filter(|_| on.load(Ordering::Relaxed)) {
                        sound.cue(cue);
                    }
                }
            }
            () = next_beat(&board, beat_s, &on), if beat => sound.beat(),
        }
    }
}

/// Waits for the next beat: counted from a common start, so that views coming in between do not put it off.
async fn next_beat(board: &Board, beat_s: f64, on: &AtomicBool) {
    loop {
        let since_s = board.hung().elapsed().as_secs_f64();
        let left_s = beat_s - since_s.rem_euclid(beat_s);
        sleep(Duration::from_secs_f64(left_s.clamp(0.005, 60.0))).await;
        let shown = board.newest();
        if shown.view.running && !shown.view.paused && shown.link() == Link::Good && on.load(Ordering::Relaxed) {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Share of a melody's power near a frequency in a stretch of it (Goertzel's sum in plain form).
    fn share_at(hz: f64, all: &[f64]) -> f64 {
        let (mut re, mut im, mut power) = (0.0, 0.0, 0.0);
        for (i, x) in all.iter().enumerate() {
            let phase = TAU * hz * i as f64 / f64::from(RATE_HZ);
            re += x * phase.cos();
            im += x * phase.sin();
            power += x * x;
        }
        2.0 * (re * re + im * im) / (power * all.len() as f64)
    }

    #[test]
    fn one_low_tone_and_a_rising_pair() {
        let low = samples(SLOW_DOWN, 1.0);
        assert!(share_at(247.0, &low) > 0.8 && low.len() < 22_050, "short and low");
        let pair = samples(HEAT, 1.0);
        let second = pair.len() - (0.24 * f64::from(RATE_HZ)) as usize;
        assert!(share_at(660.0, &pair[..(0.16 * f64::from(RATE_HZ)) as usize]) > 0.8);
        assert!(share_at(990.0, &pair[second..]) > 0.8);
    }

    #[test]
    fn volume_scales_and_nothing_clicks_or_clips() {
        for notes in [SLOW_DOWN, HEAT, BEAT] {
            let loud = samples(notes, 1.0);
            let peak = |all: &[f64]| all.iter().fold(0.0_f64, |peak, x| peak.max(x.abs()));
            assert!(peak(&loud) <= 1.0);
            assert!((peak(&samples(notes, 0.25)) - 0.25 * peak(&loud)).abs() < 1e-12);
            assert!(loud[0].abs() < 1e-9 && loud[loud.len() - 1].abs() < 0.02);
        }
        assert!(samples(HEAT, 0.0).iter().all(|x| *x == 0.0));
    }

    #[test]
    fn a_file_that_players_take() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("heat.wav");
        write_wav(&path, HEAT, 0.5).unwrap();
        let reader = hound::WavReader::open(&path).unwrap();
        assert_eq!((reader.spec().sample_rate, reader.spec().channels), (RATE_HZ, 1));
        assert!((f64::from(reader.duration()) / f64::from(RATE_HZ) - 0.44).abs() < 0.001);
    }
}
