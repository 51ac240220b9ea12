//! How the shop's memory holds up: a thousand sessions and fifty thousand passes, invented, in a folder of its own.
//!
//! `cargo run --release --example shop_size` prints sizes and times; the aims are compare under 2 s, trial under 0.5 s, a store
//! under 200 MB.

use std::time::Instant;

use steadypass::compare::{By, Comparison, Question, gather};
use steadypass::shop::demo::{Extent, STYLES, generate};
use steadypass::shop::trial::History;
use steadypass::shop::{Shop, Trial};

#[expect(clippy::print_stdout, reason = "a benchmark prints")]
fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = tempfile::tempdir()?;
    let shop = Shop::create(folder.path())?;
    let start = Instant::now();
    let cast = generate(&shop, &STYLES, Extent { days: 334, sections: 22 }, 1)?;
    let products: Vec<(i64, i64)> = cast.pads.iter().flat_map(|p| cast.liquids.iter().map(move |l| (*p, *l))).collect();
    shop.whole(|| {
        for i in 0..2000usize {
            let (pad, liquid) = products[i % products.len()];
            shop.add_trial(&Trial {
                vehicle: cast.vehicles[i / 9 % cast.vehicles.len()],
                panel: "bonnet".into(),
                day: "2026-03-02".into(),
                technician: cast.technicians[i % 3],
                machine: None,
                pad,
                liquid,
                session: None,
                passes: 4,
                finish_reached: (i * 7) % 10 < i % 9,
                haze: 0,
                holograms: 0,
                film_taken_um: None,
                note: String::new(),
            })?;
        }
        Ok(())
    })?;
    println!("filled in {:.1} s", start.elapsed().as_secs_f64());
    let passes = shop.pass_figures()?.len();
    println!("{} sessions, {passes} passes, {:.1} MB", shop.sessions()?.len(), shop.health()?.bytes as f64 / 1e6);

    let shop = Shop::open(folder.path())?;
    let start = Instant::now();
    let comparison = Comparison::of(By::Technician, gather(&shop, &Question::default())?);
    println!("compare: {:.3} s ({} looked at)", start.elapsed().as_secs_f64(), comparison.family);
    let start = Instant::now();
    let proposal = History::of(&shop, 2026)?.propose(cast.vehicles[0], None);
    println!("trial: {:.3} s ({} in the group)", start.elapsed().as_secs_f64(), proposal.map_or(0, |p| p.group.len()));
    Ok(())
}
