//! The `steadypass` program.

fn main() {}
