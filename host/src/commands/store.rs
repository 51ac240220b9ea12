//! The shop's store as every verb opens it, and its errors with the folder they came from.

use std::path::Path;

use steadypass::shop::{Id, Shop, ShopError};

use super::{Console, Failure};

/// An error of a shop, with its folder.
pub(super) fn of(folder: &Path) -> impl Fn(ShopError) -> Failure {
    let folder = folder.display().to_string();
    move |error| match error {
        ShopError::Missing { .. } | ShopError::Exists { .. } | ShopError::Foreign { .. } => Failure::failed(error),
        ShopError::OutOfRange(_) => Failure::Usage(error.to_string()),
        other => Failure::failed(format!("shop {folder}: {other}")),
    }
}

pub(super) fn open(folder: &Path) -> Result<Shop, Failure> {
    Shop::open(folder).map_err(of(folder))
}

/// The same where something is filed in the end: one that may not be written is said before the work, not after it.
pub(super) fn open_for_filing(folder: &Path) -> Result<Shop, Failure> {
    let shop = open(folder)?;
    shop.may_write().map_err(of(folder))?;
    Ok(shop)
}

/// Says where a panel, of a vehicle if any, looks like a slip of another; it is taken all the same.
pub(super) fn doubt_panel(console: &Console, shop: &Shop, vehicle: Option<Id>, panel: &str) -> Result<(), Failure> {
    let failed = of(shop.folder());
    if let Some(meant) = shop.panel_meant(panel).map_err(&failed)? {
        console.remark(&shop.panel_doubt(vehicle, panel, &meant).map_err(&failed)?);
    }
    Ok(())
}
