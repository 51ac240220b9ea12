//! Any text as a plan: taken or refused with words; what was taken says the same when written and read again.

#![no_main]

use libfuzzer_sys::fuzz_target;
use steadypass::guidance::{Plan, plan::Source};

fuzz_target!(|text: &str| {
    match Plan::from_toml(&Source::new("plan.toml", text)) {
        Ok(plan) => {
            let written = plan.to_toml();
            let again = Plan::from_toml(&Source::new("again.toml", &written)).expect("what was written can be read");
            assert_eq!(again.to_toml(), written);
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
});
