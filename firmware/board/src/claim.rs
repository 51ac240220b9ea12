//! Takes a pin by the name that the wiring gives it.

/// The number in a pin's type name, `PIN_4` and the like.
pub const fn number_of(type_name: &str) -> u8 {
    let bytes = type_name.as_bytes();
    let (mut at, mut number) = ("PIN_".len(), 0);
    while at < bytes.len() {
        number = number * 10 + (bytes[at] - b'0');
        at += 1;
    }
    number
}

/// `claim!(p.PIN_4 as IMU_SDA)` takes `p.PIN_4`, and does not compile unless [`pins`](crate::pins) says that `IMU_SDA` is
/// pin 4. The pins are types of the HAL, so a number from a table cannot pick one; it can be checked against it.
#[macro_export]
macro_rules! claim {
    ($peripherals:ident.$pin:ident as $name:ident) => {{
        const {
            assert!(
                $crate::claim::number_of(stringify!($pin)) == $crate::pins::$name,
                "not the pin that pins.rs names"
            );
        }
        $peripherals.$pin
    }};
}
