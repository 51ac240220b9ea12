//! The machine profiles that come with the program: generic machines, invented for this purpose, not any maker's.

/// Name and text of each.
const BUILT_IN: &[(&str, &str)] = &[
    ("orbital-8-80", include_str!("../../../../data/machines/orbital-8-80.toml")),
    ("orbital-15-125", include_str!("../../../../data/machines/orbital-15-125.toml")),
    ("orbital-21-150", include_str!("../../../../data/machines/orbital-21-150.toml")),
    ("rotary-150", include_str!("../../../../data/machines/rotary-150.toml")),
];

/// Names that `profile` may have without being a path.
pub fn names() -> impl Iterator<Item = &'static str> {
    BUILT_IN.iter().map(|(name, _)| *name)
}

/// The text of one.
pub(super) fn text(name: &str) -> Option<&'static str> {
    BUILT_IN.iter().find(|(known, _)| *known == name).map(|(_, text)| *text)
}
