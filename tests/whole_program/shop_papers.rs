//! The pages that the shop hands out, and its logo on them.

use std::{fs, path::PathBuf};

use crate::{small_shop::Small, support::*};

#[test]
fn a_logo_is_looked_at_when_it_is_set_and_kept_in_the_shop() {
    let small = Small::new();
    let nope = text(&at(&small.folder, "nope.png"));
    small.fails(&["shop", "set"], &["logo", &nope], 1, &["read the logo", "nope.png", "no such file"]);
    let noise = small.file("noise.png", "not a picture");
    small.fails(&["shop", "set"], &["logo", &noise], 1, &["noise.png", "PNG or a JPEG"]);
    let report = text(&at(&small.folder, "report.html"));
    let reports = || succeeds(&small.with(&["report"], &["--vehicle", "saloon A", "--out", &report]));
    reports();
    assert!(!fs::read_to_string(&report).expect("written").contains("<img"), "none was set");
    let picture = at(&small.folder, "ours.png");
    fs::write(&picture, b"\x89PNG\r\n\x1a\n rest").expect("written");
    succeeds(&small.with(&["shop", "set"], &["logo", &text(&picture)]));
    fs::remove_file(&picture).expect("removed");
    reports();
    assert!(fs::read_to_string(&report).expect("written").contains("data:image/png"));
    // Taken away behind the shop's back, and then properly.
    fs::remove_file(at(&small.folder, "shop").join("logo.png")).expect("removed");
    small.fails(&["report"], &["--vehicle", "saloon A", "--out", &report], 1, &["logo", "shop set"]);
    succeeds(&small.with(&["shop", "set"], &["logo", ""]));
    reports();
    // One of another kind takes the place of the first, and the first goes; so does the last one.
    let logos = || {
        let mut names = files(&at(&small.folder, "shop"));
        names.retain(|name| name.starts_with("logo"));
        names
    };
    for (begin, kept) in [(&b"\x89PNG\r\n\x1a\n"[..], "logo.png"), (b"\xff\xd8\xff", "logo.jpeg")] {
        fs::write(&picture, begin).expect("written");
        succeeds(&small.with(&["shop", "set"], &["logo", &text(&picture)]));
        assert_eq!(logos(), [kept]);
    }
    succeeds(&small.with(&["shop", "set"], &["logo", ""]));
    assert!(logos().is_empty());
}

#[test]
fn a_page_replaces_an_earlier_page_and_nothing_else() {
    let small = Small::new();
    let report = |out: &str| run(&small.with(&["report"], &["--vehicle", "saloon A", "--out", out]));
    let refused = |out: &str, word: &str| {
        let output = report(out);
        assert_eq!(output.status.code(), Some(1), "{out}");
        let said = stderr(&output);
        assert!(said.contains(out) && said.contains(word), "{said}");
    };
    let page = text(&at(&small.folder, "page.html"));
    assert!(report(&page).status.success() && report(&page).status.success(), "a page again");
    for (name, content) in
        [("plan.toml", "pace_mm_s = [10, 20]\n"), ("door.png", "\u{89}PNG"), ("own.html", "<html>my own</html>")]
    {
        let path = small.file(name, content);
        refused(&path, "move it away");
        assert_eq!(fs::read_to_string(&path).expect("still there"), content);
    }
    let pipe = at(&small.folder, "pipe");
    nix::unistd::mkfifo(&pipe, nix::sys::stat::Mode::S_IRWXU).expect("a pipe");
    refused(&text(&pipe), "a device or a pipe");
    refused("/dev/stdout", "choose the name of a file");
    refused("/dev/full", "a device or a pipe");
    assert!(!fs::metadata("/dev/full").expect("still there").is_file());
    let file = small.file("a file", "x");
    refused(&text(&PathBuf::from(&file).join("page.html")), "a part of its path is a file");
}
