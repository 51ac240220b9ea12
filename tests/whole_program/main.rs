//! The program as its users run it: the real binary, real files, a virtual sensor on a real pseudo-terminal.

mod bad_input;
mod exposure_and_calibration;
mod film_limit;
mod film_removal;
mod interrupt;
mod json_page;
mod kill;
mod live_and_review;
mod old_recordings;
mod sensor;
mod shop_bad_input;
mod shop_compare;
mod shop_day;
mod shop_filing;
mod shop_film;
mod shop_json;
mod shop_machines;
mod shop_names;
mod shop_notes_and_tries;
mod shop_papers;
mod shop_store;
mod shop_units;
mod small_shop;
mod support;
