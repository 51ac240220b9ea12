//! Work too quick for strokes, and ordinary work, of our own simulation: what a review says of the arm's to and fro.

use steadypass::{
    analysis::ToAndFro,
    recording::{Facts, import_table},
    replay::Replay,
    session::Event,
    simulation::{Kind, Ranges, Scenario, Truth, random, write_table},
};

fn reviewed(scenario: &Scenario) -> (Vec<ToAndFro>, Truth) {
    let folder = tempfile::tempdir().unwrap();
    let (table, recording) = (folder.path().join("work.csv"), folder.path().join("work.mcap"));
    let out = std::io::BufWriter::new(std::fs::File::create(&table).unwrap());
    let truth = write_table(scenario, out).unwrap();
    import_table(&table, &recording, &Facts::default(), &[], |_| {}).unwrap();
    let mut replay = Replay::open(&recording).unwrap();
    let plan = replay.plan().unwrap();
    let mut found = Vec::new();
    let take = |event| {
        if let Event::ToAndFro(stretch) = event {
            found.push(stretch);
        }
    };
    replay.run(plan, "", |_| {}, take).unwrap();
    (found, truth)
}

#[test]
fn quick_work_is_counted() {
    // One way takes 0.12 m / 0.25 m/s, a turn 0.3 s: 0.64 to and fro a second.
    let mut scenario = Scenario { seed: 3, ..Scenario::default() };
    let arm = &mut scenario.arm;
    (arm.traverse_mps, arm.stroke_m, arm.turn_s, arm.step_m) = (0.25, 0.12, 0.3, 0.01);
    (arm.pass_axes, arm.strokes_per_pass) = (vec![0], 40);
    let (found, truth) = reviewed(&scenario);
    let strokes = &truth.strokes;
    let hz = 0.5 * (strokes.len() - 1) as f64 / (strokes[strokes.len() - 1].start_s - strokes[0].start_s);
    assert_eq!(found.len(), 1, "{found:?}");
    let ToAndFro { start_s, end_s, cycles, rate_hz } = found[0];
    println!("{cycles:.1} from {start_s:.1} to {end_s:.1} s, {rate_hz:?}; true {hz:.4} Hz");
    assert!((rate_hz.value / hz - 1.0).abs() < 0.02, "{rate_hz:?} for {hz}");
    assert!(cycles > 10.0 && (cycles - hz * (end_s - start_s)).abs() < 1.0, "{cycles}");
}

#[test]
fn of_ordinary_work_nothing_is_said() {
    // The quickest, the least steady and the plainest; the other kinds were looked at once.
    for kind in [Kind::Fast, Kind::Shaky, Kind::Rotary] {
        let (found, _) = reviewed(&random(31, &Ranges::of(kind)));
        assert_eq!(found, [], "{}", kind.as_str());
    }
}
